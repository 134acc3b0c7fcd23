package simulator

import (
	"math"
	"math/cmplx"
	"testing"
	"time"
)

// A sight is what a technician with good instruments sees in some seconds.
type sight struct {
	flow, torque, power  float64 // L/min, N·m, kW
	discharge, suction   float64 // kPa, mean
	one, two, three, six float64 // kPa of discharge ripple
	noise                float64 // kPa from one millisecond to the next
	oil                  float64 // °C
	motor                float64 // rpm
}

// look watches a skid for two seconds from at on.
func look(k *Skid, at time.Duration) sight {
	k.AdvanceTo(at)
	var s sight
	const n = 2000
	var p, q, angle [n]float64
	for i := range n {
		now := at + time.Duration(i)*time.Millisecond
		discharge, suction := k.Pressures(now)
		p[i], q[i], angle[i] = float64(discharge), float64(suction), 2*math.Pi*k.Shaft(now)
		s.discharge += p[i] / n / 1e3
		s.suction += q[i] / n / 1e3
	}
	line := func(order float64) complex128 {
		var c complex128
		for i := range p {
			c += complex(2*(p[i]/1e3-s.discharge)/n, 0) * cmplx.Rect(1, -order*angle[i])
		}
		return c
	}
	s.one, s.two, s.three, s.six = cmplx.Abs(line(1)), cmplx.Abs(line(2)), cmplx.Abs(line(3)), cmplx.Abs(line(6))
	for i := 1; i < n; i++ {
		s.noise += (p[i] - p[i-1]) * (p[i] - p[i-1]) / n / 1e6
	}
	s.noise = math.Sqrt(s.noise)
	s.flow, s.torque, s.power = k.flow.metered*60e3, k.drive.torque, k.drive.power/1e3
	s.oil, s.motor = k.heat.oil, k.drive.speed
	return s
}

func calmSettings() Settings {
	s := DefaultSettings(11)
	s.Detail, s.Running, s.Wander, s.PressureWander = Full, true, 0, 0
	s.Discharge, s.Suction = Transmitter{}, Transmitter{}
	s.Machine.Dampener = Dampener{Gas: 0.25e-3, Charge: 4.5e6}
	return s
}

// A bound is what one number must be: over the healthy pump's when ratio.
type bound struct {
	what      string
	of        func(sight) float64
	low, high float64
	ratio     bool
}

func is(what string, of func(sight) float64, low, high float64) bound {
	return bound{what, of, low, high, false}
}

func becomes(what string, of func(sight) float64, low, high float64) bound {
	return bound{what, of, low, high, true}
}

// What each failure shows, as people who service such pumps describe it
// (common practice, no source). Numbers are bounds around what the physics
// gives, wide enough for other pipings.
func TestWhatEachFailureShows(t *testing.T) {
	long(t)
	flow := func(s sight) float64 { return s.flow }
	torque := func(s sight) float64 { return s.torque }
	one := func(s sight) float64 { return s.one }
	two := func(s sight) float64 { return s.two }
	three := func(s sight) float64 { return s.three }
	six := func(s sight) float64 { return s.six }
	discharge := func(s sight) float64 { return s.discharge }
	suction := func(s sight) float64 { return s.suction }
	oil := func(s sight) float64 { return s.oil }
	motor := func(s sight) float64 { return s.motor }
	noise := func(s sight) float64 { return s.noise }
	tests := []struct {
		name  string
		event Event
		after time.Duration
		want  []bound
	}{
		{
			"worn suction seat: half a stroke's loss of one head",
			Event{Do: SuctionValveLeak, Size: 0.3},
			0,
			[]bound{becomes("flow", flow, 0.94, 0.96), becomes("torque", torque, 0.98, 1.02), becomes("1x", one, 2, 30)},
		},
		{
			"worn discharge seat",
			Event{Do: DischargeValveLeak, Size: 0.3},
			0,
			[]bound{becomes("flow", flow, 0.94, 0.96), becomes("torque", torque, 0.98, 1.02), becomes("1x", one, 2, 30)},
		},
		{"seat o-ring", Event{Do: SeatBypass, Size: 0.3}, 0, []bound{becomes("flow", flow, 0.94, 0.96)}},
		{
			"valve stuck open: a third of the flow",
			Event{Do: SuctionStuck, Size: 1},
			0,
			[]bound{becomes("flow", flow, 0.6, 0.7), becomes("1x", one, 10, 200)},
		},
		{
			"oil cell's relief lifts above a pressure: and the oil warms",
			Event{Do: OilCellRelief, Size: 0.5},
			time.Hour,
			[]bound{becomes("flow", flow, 0.88, 0.96), becomes("oil", oil, 1.1, 1.6)},
		},
		{
			"oil cell's relief does not lift at low pressure",
			Event{Do: OilCellRelief, Size: 0.5},
			-1,
			[]bound{becomes("flow", flow, 0.995, 1.03)},
		},
		{
			"make-up valve stuck: one head under-stroked",
			Event{Do: MakeUpStuck, Size: 0.15},
			0,
			[]bound{becomes("flow", flow, 0.92, 0.96), becomes("torque", torque, 0.92, 0.97), becomes("1x", one, 1.5, 30)},
		},
		{
			"oil aerated: all heads late, 3x up, efficiency down",
			Event{Do: OilAerated, Size: 0.15},
			0,
			[]bound{becomes("flow", flow, 0.8, 0.95), becomes("3x", three, 2, 20)},
		},
		{"oil low: nothing at first", Event{Do: OilLow, Size: 1}, time.Second, []bound{becomes("flow", flow, 0.98, 1.01)}},
		{
			"oil low: late heads minutes after start",
			Event{Do: OilLow, Size: 1},
			8 * time.Minute,
			[]bound{becomes("flow", flow, 0.7, 0.9), becomes("3x", three, 2, 20)},
		},
		{
			"strainer plugged until it cavitates: noise and lost flow",
			Event{Do: StrainerPlugged, Size: 14},
			0,
			[]bound{becomes("flow", flow, 0.5, 0.95), is("suction kPa", suction, -95, -60), becomes("broadband", noise, 3, 1000)},
		},
		{
			"gas locked: no-load torque, static discharge, no ripple",
			Event{Do: GasLocked, Size: 1},
			time.Minute,
			[]bound{is("flow", flow, -0.01, 0.01), becomes("torque", torque, 0, 0.15), is("3x", three, 0, 0.1), is("discharge kPa", discharge, 6990, 7010)},
		},
		{
			"suction closed",
			Event{Do: SuctionClosed, Size: 1},
			time.Minute,
			[]bound{is("flow", flow, -0.01, 0.01), is("suction kPa", suction, -90, -70), becomes("motor", motor, 0.99, 1.05)},
		},
		{
			"one head gassy: late",
			Event{Do: GassyHead, Size: 0.2},
			0,
			[]bound{becomes("flow", flow, 0.9, 0.97), becomes("1x", one, 2, 40)},
		},
		{
			"dampener's gas lost: 3x and 6x up, mean the same",
			Event{Do: DampenerLost, Size: 1},
			0,
			[]bound{becomes("flow", flow, 0.99, 1.01), becomes("discharge", discharge, 0.99, 1.01), becomes("3x", three, 3, 100), becomes("6x", six, 3, 100)},
		},
		{
			"dampener overcharged: the same",
			Event{Do: DampenerOver, Size: 1},
			0,
			[]bound{becomes("flow", flow, 0.99, 1.01), becomes("3x", three, 3, 100), becomes("6x", six, 3, 100)},
		},
		{
			"discharge filter plugging: pressure climbs",
			Event{Do: FilterPlugged, Size: 4},
			0,
			[]bound{becomes("flow", flow, 0.985, 1), becomes("discharge", discharge, 1.04, 1.07), becomes("torque", torque, 1.03, 1.08)},
		},
		{
			"bypass open: flow down at the meter, torque and 1x as before",
			Event{Do: BypassOpen, Size: 0.3},
			0,
			[]bound{becomes("flow", flow, 0.65, 0.75), becomes("torque", torque, 0.97, 1.01), becomes("1x", one, 0.7, 1.3)},
		},
		{
			"belt off: motor turns, nothing else",
			Event{Do: BeltSlip, Size: 1},
			time.Minute,
			[]bound{is("flow", flow, 0, 0), becomes("torque", torque, 0, 0.15), becomes("motor", motor, 1, 1.05), is("3x", three, 0, 0.1)},
		},
		{
			"reversed: full flow, no signal shows it",
			Event{Do: Reversed, Size: 1},
			0,
			[]bound{becomes("flow", flow, 0.998, 1.002), becomes("torque", torque, 0.99, 1.01), becomes("3x", three, 0.95, 1.05)},
		},
		{
			"speed wobble: 1x without loss",
			Event{Do: SpeedWobble, Size: 0.02},
			0,
			[]bound{becomes("flow", flow, 0.998, 1.002), becomes("1x", one, 1.1, 10)},
		},
		{
			"speed wobble twice a turn: 2x without loss",
			Event{Do: SpeedTwice, Size: 0.05},
			0,
			[]bound{becomes("flow", flow, 0.998, 1.002), becomes("2x", two, 1.1, 100)},
		},
		{
			"all valves worn: flow down, 1x not up",
			Event{Do: AllValvesWorn, Size: 0.1},
			0,
			[]bound{becomes("flow", flow, 0.89, 0.92), becomes("1x", one, 0.7, 1.3)},
		},
	}
	before := map[bool]sight{}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			s := calmSettings()
			low := tt.after < 0
			k := calm(t, s, low)
			if _, ok := before[low]; !ok {
				before[low] = look(calm(t, s, low), 20*time.Second)
			}
			e := tt.event
			e.At = 2 * time.Second
			if err := k.Schedule(e); err != nil {
				t.Fatal(err)
			}
			now := look(k, 20*time.Second+max(0, tt.after))
			if tt.after == time.Second {
				now = look(calmWith(t, s, e), 4*time.Second)
			}
			for _, w := range tt.want {
				got := w.of(now)
				if w.ratio {
					got /= w.of(before[low])
				}
				if !(got >= w.low && got <= w.high) {
					t.Errorf("%s is %.4g, want %g to %g (healthy %.4g)", w.what, got, w.low, w.high, w.of(before[low]))
				}
			}
		})
	}
}

// long leaves out what integrates for seconds, many times that with the race
// detector on.
func long(t *testing.T) {
	t.Helper()
	if testing.Short() {
		t.Skip("integrates for seconds")
	}
}

// calm is a running pump without wander; low puts it at 5 MPa of its 7.
func calm(t *testing.T, s Settings, low bool) *Skid {
	t.Helper()
	k, err := NewSkid(s)
	if err != nil {
		t.Fatal(err)
	}
	if low {
		if err := k.Schedule(Event{Do: ContactorPressure, Size: 5}); err != nil {
			t.Fatal(err)
		}
	}
	return k
}

func calmWith(t *testing.T, s Settings, e Event) *Skid {
	t.Helper()
	k := calm(t, s, false)
	if err := k.Schedule(e); err != nil {
		t.Fatal(err)
	}
	return k
}

// A pump that turns faster than its suction line lets it: efficiency falls and
// bubbles collapse.
func TestSpeedAboveRatingCostsSuctionMargin(t *testing.T) {
	s := calmSettings()
	s.Machine.Suction = Line{Length: 15, Bore: 0.02, Manifold: 1e-3, Bubble: 20e-6}
	share := func(rpm float64) (efficiency, noise float64) {
		now := look(calmWith(t, s, Event{Do: SetSpeed, Size: rpm}), 30*time.Second)
		return now.flow / now.motor, now.noise / now.motor / now.motor
	}
	rated, quiet := share(300)
	fast, loud := share(700)
	if fast > 0.97*rated {
		t.Errorf("flow over speed is %.4f at 700 rpm and %.4f at 300, want at least 3 %% less", fast, rated)
	}
	if loud < 2*quiet {
		t.Errorf("broadband over speed squared is %.3g at 700 rpm and %.3g at 300, want at least twice", loud, quiet)
	}
}

// Leak through an orifice goes with the root of pressure, past a ring in
// straight line and with thinner oil; a make-up valve is worse cold.
func TestPlungerLeakGrowsAsTheOilWarmsAndMakeUpAsItCools(t *testing.T) {
	s := calmSettings()
	loss := func(change func(h *head), oil float64) float64 {
		c := warmCondition(&s)
		c.oil = oil
		healthy := periodic(&s, &c).flow
		change(&c.heads[0])
		return 1 - periodic(&s, &c).flow/healthy
	}
	plunger := func(h *head) { h.plungerLeak += 0.3 }
	makeUp := func(h *head) { h.makeUp += 0.1 }
	if cold, hot := loss(plunger, 40), loss(plunger, 75); hot < 2*cold {
		t.Errorf("plunger leak loses %.4f at 40 °C and %.4f at 75 °C, want at least twice as much", cold, hot)
	}
	if cold, hot := loss(makeUp, 40), loss(makeUp, 75); cold < 2*hot {
		t.Errorf("stuck make-up valve loses %.4f at 40 °C and %.4f at 75 °C, want at most half", cold, hot)
	}
}

// A lazy valve is a late head: 1x and 2x alike, little lost at low speed.
func TestALazyValveIsALateHead(t *testing.T) {
	s, c := quiet(Mechanism{DischargeAway, 5})
	healthy := spectrum(delivered(&s, &c))
	c.heads[0].suctionLazy = 1
	lazy := spectrum(delivered(&s, &c))
	if loss := 1 - real(lazy[0]/healthy[0]); loss < 0.005 || loss > 0.1 {
		t.Errorf("flow falls by %.4f, want some per cent", loss)
	}
	first, second := cmplx.Abs(lazy[1]-healthy[1]), cmplx.Abs(lazy[2]-healthy[2])
	if second < 0.6*first || second > 1.3*first {
		t.Errorf("1x moves by %.4f and 2x by %.4f of the flow, want about the same", first, second)
	}
}

// Debris comes and goes: of two minutes it sits under the valve in some.
func TestDebrisComesAndGoes(t *testing.T) {
	k := calmWith(t, calmSettings(), Event{Do: SuctionDebris, Cylinder: 1, Size: 0.4})
	with, without := 0, 0
	var least, most float64 = 1e9, 0
	for at := time.Minute; at < 2*time.Hour; at += 2 * time.Minute {
		k.AdvanceTo(at)
		k.mu.Lock()
		flow := k.flow.metered * 60e3
		k.mu.Unlock()
		least, most = math.Min(least, flow), math.Max(most, flow)
		if flow < 21.5 {
			with++
		} else {
			without++
		}
	}
	if with < 10 || without < 10 {
		t.Errorf("debris in %d and none in %d of %d looks (%.2f to %.2f L/min)", with, without, with+without, least, most)
	}
}
