package simulator

import (
	"fmt"
	"math"
	"math/cmplx"
	"testing"

	"pumpside/drivers/quantity"
)

func periodic(s *Settings, c *condition) *cycle { return solveCycle(newCircuit(s, c), c) }

func pressureOrders(table *[cycleSize]float32) []complex128 {
	p := make([]float64, cycleSize)
	for i, x := range table {
		p[i] = float64(x)
	}
	return orders(p, topOrder)
}

// What comes in must go out: suction line, discharge line and the sump.
func TestNoGlycolIsLostInATurn(t *testing.T) {
	s := DefaultSettings(3)
	c := warmCondition(&s)
	c.heads[0].suctionLeak, c.heads[1].dischargeLeak, c.heads[2].plungerLeak = 0.2, 0.3, 0.4
	k := newCircuit(&s, &c)
	solveCycle(k, &c)
	speed := c.speed / 60 * 2 * math.Pi
	const steps, turns = 1440, 30
	dt := 2 * math.Pi / speed / steps
	in, out := 0.0, 0.0
	for i := range steps * turns {
		k.step(2*math.Pi*float64(i+1)/steps, dt, speed)
		in -= k.in.flow[0] * dt
		out += k.out.flow[0] * dt
	}
	swept := float64(s.Machine.StrokeVolume()) * Cylinders * turns
	if math.Abs(in-out) > 1e-4*swept {
		t.Errorf("%.6g m³ came in and %.6g went out in %d turns", in, out, turns)
	}
}

// Halving the step of the integration changes no order that matters.
func TestThePeriodicStateDoesNotDependOnTheStep(t *testing.T) {
	long(t)
	s := DefaultSettings(1)
	for _, n := range []float64{100, 300, 900} {
		c := warmCondition(&s)
		c.speed = n
		c.heads[0].suctionLeak = 0.05
		turns := func(sub int) []complex128 {
			k, out := newCircuit(&s, &c), new(cycle)
			for range 25 {
				turnOnce(k, &c, n/60*2*math.Pi, sub, out)
			}
			return pressureOrders(&out.discharge)
		}
		fine, used := turns(8*perPoint), turns(perPoint)
		largest := 0.0
		for k := 1; k <= 6; k++ {
			largest = math.Max(largest, cmplx.Abs(fine[k]))
		}
		for k := 1; k <= 6; k++ {
			if off := cmplx.Abs(fine[k] - used[k]); off > 0.01*largest {
				t.Errorf("%v rpm: %dx is %.2f kPa with the step in use and %.2f kPa with an eighth of it", n, k, cmplx.Abs(used[k])/1e3, cmplx.Abs(fine[k])/1e3)
			}
		}
	}
}

// Through a short stiff pipe the pressure follows the flow, so the six valves
// stand 60° apart in the change of the 1x pressure too, and mean flow falls by
// half the leak.
func TestALeakTurnsThePressureOfTheCircuit(t *testing.T) {
	for _, motion := range []Mechanism{{DischargeAway, 5}, {DischargeTowards, 5}, {Sine, 0}} {
		s := DefaultSettings(7)
		s.Machine.Mechanism = motion
		const q = 0.05
		healthy := warmCondition(&s)
		before := periodic(&s, &healthy)
		base := pressureOrders(&before.discharge)
		var turned [2 * Cylinders]float64
		size := 0.0
		for v := range turned {
			c := healthy
			if v%2 == 0 {
				c.heads[v/2].suctionLeak = q
			} else {
				c.heads[v/2].dischargeLeak = q
			}
			now := periodic(&s, &c)
			change := pressureOrders(&now.discharge)[1] - base[1]
			turned[v], size = cmplx.Phase(change)*180/math.Pi, cmplx.Abs(change)
			mean := float64(s.Machine.Displacement(300)) / Cylinders
			if loss := (before.flow - now.flow) / mean; math.Abs(loss-q/2) > 0.15*q/2 {
				t.Errorf("motion %d valve %d: mean flow falls by %.4f of a cylinder's, want %.4f", motion.Motion, v, loss, q/2)
			}
		}
		// In flow: suction 90, −30, −150, discharge −90, 150, 30. The line
		// turns all alike, so compare with the first.
		for v, want := range []float64{0, 180, -120, 60, 120, -60} {
			if off := math.Remainder(turned[v]-turned[0]-want, 360); math.Abs(off) > 8 {
				t.Errorf("motion %d valve %d: 1x turned to %.0f° from the first valve's, want %.0f°", motion.Motion, v, turned[v]-turned[0], want)
			}
		}
		// 1x of flow is (2/π)q; an inertance of ρL/A makes pressure of it.
		line := s.Machine.Discharge
		area := math.Pi / 4 * float64(line.Bore) * float64(line.Bore)
		omega := 2 * math.Pi * 5
		want := 2 / math.Pi * q * float64(s.Machine.Displacement(300)) / Cylinders * omega * float64(GlycolDensity(80)) * float64(line.Length) / area
		if size < 0.9*want || size > 1.4*want {
			t.Errorf("motion %d: 1x moved by %.2f kPa, the line's inertance alone would make %.2f kPa", motion.Motion, size/1e3, want/1e3)
		}
	}
}

// The look-up between corners must be the full integration of the condition
// itself.
func TestTheFastPathAgreesWithFullIntegration(t *testing.T) {
	tests := []struct {
		name   string
		speed  float64 // of rated
		glycol float64
		leak   float64
		gas    litres
	}{
		{"between speeds", 1.006, 80, 0, 0},
		{"between speeds and temperatures", 0.991, 84, 0, 0},
		{"with a leak", 1.006, 80, 0.1, 0},
		{"with a dampener", 0.994, 80, 0, 0.2},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			s := DefaultSettings(5)
			s.Detail, s.Running, s.Wander = Full, true, 0
			s.Discharge.Damping, s.Suction.Damping = 0, 0
			s.Machine.Dampener = Dampener{Gas: tt.gas.cubic(), Charge: 5e6}
			k, err := NewSkid(s)
			if err != nil {
				t.Fatal(err)
			}
			k.shaftSpeed = 5 * tt.speed
			k.heat.glycol, k.heat.oil = tt.glycol, 60
			k.faults.set(Event{Do: SuctionValveLeak, Cylinder: 1, Size: tt.leak}, 0)
			k.full.grow(k, 0)
			var g glance
			k.full.flow = 0
			k.full.mix(k, &g)
			looked := make([]float64, cycleSize)
			for i := range looked {
				looked[i] = g.pressure(dischargePressure, float64(i)/cycleSize, 0)
			}
			c := condition{
				speed: 300 * tt.speed, contactor: float64(s.Contactor), head: float64(s.Head),
				glycol: tt.glycol, oil: 60, heads: k.full.now.heads,
			}
			exact := periodic(&s, &c)
			got, want := orders(looked, topOrder), pressureOrders(&exact.discharge)
			largest := 0.0
			for _, x := range want[1:] {
				largest = math.Max(largest, cmplx.Abs(x))
			}
			for k := 1; k <= 6; k++ {
				if off := cmplx.Abs(got[k] - want[k]); off > 0.02*largest {
					t.Errorf("%dx is %.2f kPa looked up and %.2f kPa integrated, off by %.2f of %.2f", k, cmplx.Abs(got[k])/1e3, cmplx.Abs(want[k])/1e3, off/1e3, largest/1e3)
				}
			}
			if off := k.full.flow/exact.flow - 1; math.Abs(off) > 0.002 {
				t.Errorf("flow is off by %.3f %%", 100*off)
			}
		})
	}
}

type litres float64

func (l litres) cubic() quantity.CubicMeters { return quantity.CubicMeters(l * 1e-3) }

// Acceleration head of a short stiff suction line, h = L·V·n·C/g with C = 0.066
// for a triplex (Hydraulic Institute 6.1–6.5, from memory; 0.0658 by
// kinematics at rod ratio 5, the elasticity factor k being 1 here).
func TestAccelerationHeadOfTheSuctionLine(t *testing.T) {
	s, c := quiet(Mechanism{DischargeAway, 5})
	s.Machine.DeadVolume, s.Machine.OilVolume = 0.02, 0.02 // hardly anything to expand before the suction valve opens
	s.Machine.Suction = Line{Length: 1, Bore: 0.04, Manifold: 1e-5}
	s.Machine.SuctionValve = Valve{Area: 2e-3, Opening: 50, Full: 200, Lag: 1e-4} // no weight, no spring
	s.Head = 100e3
	c = warmCondition(&s)
	y := periodic(&s, &c)
	// The line rings at its quarter wave, 400 Hz: 24 orders are 120 Hz and
	// leave that out, and with it the last tenth of the steepest rise.
	p := make([]float64, cycleSize)
	for i, x := range y.suction {
		p[i] = float64(x)
	}
	lines := orders(p, 24)
	lowest, mean := math.Inf(1), real(lines[0])
	for i := range p {
		sum := 0.0
		for k, c := range lines {
			sum += real(c * cmplx.Rect(1, 2*math.Pi*float64(k*i)/cycleSize))
		}
		lowest = math.Min(lowest, sum)
	}
	velocity := y.flow / (math.Pi / 4 * 0.04 * 0.04)
	got := (mean - lowest) / float64(GlycolDensity(80)) // m²/s²: head × g
	want := 1 * velocity * 300 * 0.066
	if got < 0.8*want || got > 1.1*want {
		t.Errorf("acceleration takes %.3f m of head, want %.3f m", got/quantity.StandardGravity, want/quantity.StandardGravity)
	}
}

// The same machine made for other speeds delivers the same flow at much the
// same efficiency, by every motion.
func TestMachinesForOtherSpeeds(t *testing.T) {
	long(t)
	for _, motion := range []Mechanism{{DischargeAway, 5}, {DischargeTowards, 5}, {Sine, 0}} {
		for _, n := range []float64{200, 300, 900, 1750} {
			s := DefaultSettings(1)
			s.Machine.Mechanism = motion
			s.Machine = s.Machine.ForSpeed(quantity.RevolutionsPerMinute(n))
			c := warmCondition(&s)
			got := periodic(&s, &c)
			want := float64(DefaultMachine().Displacement(300))
			if efficiency := got.flow / want; efficiency < 0.92 || efficiency > 0.98 {
				t.Errorf("motion %d at %v rpm: volumetric efficiency %.3f, want 0.92 to 0.98", motion.Motion, n, efficiency)
			}
			if got.turns > mostTurns {
				t.Errorf("motion %d at %v rpm: not periodic after %d turns, still moving by %.0f Pa", motion.Motion, n, got.turns, got.drift)
			}
		}
	}
}

// A dampener charged at the working pressure strikes its stop in every stroke,
// and still repeats with the turn.
func TestADampenerThatStrikesItsStopSettles(t *testing.T) {
	s := DefaultSettings(2)
	s.Machine = s.Machine.ForSpeed(498)
	s.Machine.Discharge = Line{3.9, 0.018, 0.94e-3, 1e-7}
	s.Machine.Dampener = Dampener{0.588e-3, 4e6}
	s.Contactor = 3.64e6
	c := warmCondition(&s)
	c.speed, c.glycol = 377, 20
	k := newCircuit(&s, &c)
	one := solveCycle(k, &c)
	if one.turns > mostTurns {
		t.Errorf("not periodic after %d turns, still moving by %.0f Pa", one.turns, one.drift)
	}
	// What is taken where a state does not settle, the mean of many turns, is
	// here the turn itself.
	sub := max(perPoint, int(math.Ceil(60/c.speed/cycleSize/k.longest())))
	mean := average(k, &c, c.speed/60*2*math.Pi, sub, new(cycle))
	if off := mean.flow/one.flow - 1; math.Abs(off) > 0.001 {
		t.Errorf("flow of one turn and the mean of the next differ by %.2f %%", 100*off)
	}
	for i, p := range mean.discharge {
		if off := math.Abs(float64(p - one.discharge[i])); off > 1e3 {
			t.Fatalf("pressure of one turn and the mean of the next differ by %.0f Pa at point %d", off, i)
		}
	}
}

// A transmitter's lag on the periodic table is the textbook first order:
// 1/√(1 + (ωτ)²) and −atan ωτ. 5 Hz through 0.1 s keeps 0.3033, through 0.5 s
// 0.0635.
func TestLagOfTheTable(t *testing.T) {
	tests := []struct{ lag, want float64 }{{0.02, 0.8467}, {0.1, 0.3033}, {0.5, 0.0635}, {5, 0.00637}}
	for _, tt := range tests {
		t.Run(fmt.Sprintf("%v s", tt.lag), func(t *testing.T) {
			var x [cycleSize]float32
			for i := range x {
				x[i] = 1000 + 100*float32(math.Cos(2*math.Pi*float64(i)/cycleSize))
			}
			lagTurn(&x, 0.2/cycleSize/tt.lag)
			got := pressureOrders(&x)
			if math.Abs(real(got[0])-1000) > 0.01 || math.Abs(cmplx.Abs(got[1])/100-tt.want) > 0.0005 {
				t.Errorf("mean %.3f, 1x %.5f, want 1000 and %.4f", real(got[0]), cmplx.Abs(got[1])/100, tt.want)
			}
			if phase, want := cmplx.Phase(got[1]), -math.Atan(2*math.Pi*5*tt.lag); math.Abs(phase-want) > 0.01 {
				t.Errorf("phase %.4f, want %.4f", phase, want)
			}
		})
	}
}

func BenchmarkTurnOfTheCircuit(b *testing.B) {
	s := DefaultSettings(1)
	c := warmCondition(&s)
	k, out := newCircuit(&s, &c), new(cycle)
	b.ReportAllocs()
	for b.Loop() {
		turnOnce(k, &c, 5*2*math.Pi, perPoint, out)
	}
}

func BenchmarkPeriodicState(b *testing.B) {
	s := DefaultSettings(1)
	c := warmCondition(&s)
	for b.Loop() {
		periodic(&s, &c)
	}
}
