package simulator

import (
	"math"
	"math/cmplx"
	"testing"
	"time"
)

// After a start the circuit is integrated, then looked up: nothing may jump
// where one takes over from the other.
func TestTheLookUpTakesOverFromTheIntegrationWithoutAJump(t *testing.T) {
	s := DefaultSettings(4)
	s.Detail, s.Wander, s.PressureWander = Full, 0, 0
	k := calmWith(t, s, Event{At: time.Second, Do: Start})
	k.AdvanceTo(11 * time.Second)
	var fits [2]fit
	for at := 11 * time.Second; at < 15*time.Second; at += time.Millisecond {
		k.AdvanceTo(at)
		i := 1
		if k.full.live {
			i = 0
		}
		fits[i].add(2*math.Pi*k.shaftAt(at), k.pressure(dischargePressure, at)/1e3)
	}
	live, looked := fits[0].orders(), fits[1].orders()
	largest := 0.0
	for _, x := range live[1:] {
		largest = math.Max(largest, cmplx.Abs(x))
	}
	if largest < 50 {
		t.Fatalf("largest order %.1f kPa: the pump does not run", largest)
	}
	for n := range live {
		if off := cmplx.Abs(live[n] - looked[n]); off > 0.03*largest {
			t.Errorf("%dx is %.2f kPa integrated and %.2f kPa looked up, off by %.2f of %.2f", n, cmplx.Abs(live[n]), cmplx.Abs(looked[n]), off, largest)
		}
	}
}

// A fit averages a signal over many turns against its angle.
type fit struct {
	n   int
	sum [7]complex128
}

func (f *fit) add(angle, x float64) {
	f.n++
	for k := range f.sum {
		f.sum[k] += cmplx.Rect(x, -float64(k)*angle)
	}
}

func (f *fit) orders() (out [7]complex128) {
	for k := range out {
		out[k] = f.sum[k] * complex(2/float64(f.n), 0)
	}
	out[0] /= 2
	return out
}

// Two pumps at different speeds on one header, integrated together, against
// the sum of each alone.
func TestTwoPumpsOnAHeaderAddUp(t *testing.T) {
	s := DefaultSettings(2)
	s.Machine.Discharge.Manifold = 1e-3
	const slower = 0.9
	a := warmCondition(&s)
	b := a
	b.speed *= slower
	b.heads[1].suctionLeak = 0.2
	both := newCircuit(&s, &a)
	second := newCircuit(&s, &b)
	first := len(both.chambers)
	both.chambers = append(both.chambers, second.chambers...)
	both.start()
	speed := a.speed / 60 * 2 * math.Pi
	const step = 2 * math.Pi / 720
	var together [2]fit
	for i := range 720 * 100 {
		theta := step * float64(i+1)
		for j := first; j < len(both.chambers); j++ {
			both.chambers[j].phase = second.chambers[j-first].phase + theta*(1-slower)
		}
		both.step(theta, step/speed, speed)
		if i >= 720*40 { // 60 turns of the first are 54 of the second
			together[0].add(theta, both.discharge.pressure/1e3)
			together[1].add(theta*slower, both.discharge.pressure/1e3)
		}
	}
	for n, c := range []*condition{&a, &b} {
		c.piping.others = periodic(&s, []*condition{&b, &a}[n]).flow
		alone := pressureOrders(&periodic(&s, c).discharge)
		got := together[n].orders()
		for _, k := range []int{1, 3, 6} {
			want := alone[k] / 1e3
			if off := cmplx.Abs(got[k] - want); off > 0.2*cmplx.Abs(want)+2 {
				t.Errorf("pump %d: %dx is %.2f kPa at %.0f° on the header and %.2f kPa at %.0f° alone", n, k,
					cmplx.Abs(got[k]), cmplx.Phase(got[k])*180/math.Pi, cmplx.Abs(want), cmplx.Phase(want)*180/math.Pi)
			}
		}
	}
}

// The transmitter of a stopped pump shows the other's ripple.
func TestAStoppedPumpSeesTheOtherOfItsHeader(t *testing.T) {
	s := calmSettings()
	still := s
	still.Running = false
	runs, rests := calm(t, s, false), calm(t, still, false)
	Join(runs, rests)
	for _, r := range []string{"drive_status", "motor_speed"} {
		a, _ := runs.Value(r, time.Second)
		b, _ := rests.Value(r, time.Second)
		if a == b {
			t.Fatalf("%s is %v of both", r, a)
		}
	}
	worst, swing := 0.0, 0.0
	for at := 2 * time.Second; at < 4*time.Second; at += 3 * time.Millisecond {
		a, _ := runs.Value("discharge_pressure", at)
		b, _ := rests.Value("discharge_pressure", at)
		mean := runs.full.mean / 1e3
		worst = math.Max(worst, math.Abs(a-mean-b))
		swing = math.Max(swing, math.Abs(a-mean-7000))
	}
	const count = 10e3 / counts // kPa
	if swing < 10 || worst > 1.01*count {
		t.Errorf("ripple of %.1f kPa differs by up to %.1f kPa between the transmitters", swing, worst)
	}
}

// A leak that grows over hours moves the flow in a straight line, without
// steps where one solved piece follows the other.
func TestAGrowingLeakMovesTheFlowSmoothly(t *testing.T) {
	long(t)
	k := calmWith(t, calmSettings(), Event{Do: DischargeValveLeak, Cylinder: 2, Size: 0.6, Onset: 2 * time.Hour})
	flow := func(at time.Duration) float64 {
		k.AdvanceTo(at)
		k.mu.Lock()
		defer k.mu.Unlock()
		return k.flow.metered * 60e3
	}
	first := flow(0)
	before := first
	for at := time.Minute; at <= 2*time.Hour; at += time.Minute {
		now := flow(at)
		want := first - 0.5*0.6*float64(k.rated)*60e3/Cylinders*at.Hours()/2
		if math.Abs(now-want) > 0.2 {
			t.Fatalf("flow %.3f L/min after %v, want about %.3f", now, at, want)
		}
		if math.Abs(now-before) > 0.06 {
			t.Fatalf("flow jumped from %.3f to %.3f L/min at %v", before, now, at)
		}
		before = now
	}
}

func BenchmarkFullSkidSecond(b *testing.B) {
	s := DefaultSettings(1)
	s.Detail, s.Running = Full, true
	k, err := NewSkid(s)
	if err != nil {
		b.Fatal(err)
	}
	k.Advance(time.Minute) // most corners around the operating point are solved now
	b.ReportAllocs()
	for b.Loop() {
		k.Advance(time.Second)
	}
}

func BenchmarkFullPressureSample(b *testing.B) {
	s := DefaultSettings(1)
	s.Detail, s.Running = Full, true
	k, err := NewSkid(s)
	if err != nil {
		b.Fatal(err)
	}
	u, at, dst := k.Unit(Instruments), time.Minute, make([]uint16, 2)
	k.AdvanceTo(at)
	b.ReportAllocs()
	for b.Loop() {
		at += 20 * time.Millisecond
		u.Read(at, Input, 0, dst)
	}
}
