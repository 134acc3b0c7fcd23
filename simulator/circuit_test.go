package simulator

import (
	"fmt"
	"math"
	"math/cmplx"
	"testing"
)

func warmCondition(s *Settings) condition {
	return condition{
		speed: float64(s.Machine.RatedSpeed), contactor: float64(s.Contactor), head: float64(s.Head),
		glycol: float64(s.Glycol), oil: oilAnchor, heads: built(s),
	}
}

// quiet is a pump whose heads are alike and whose manifolds hardly move: the
// valves see the pressures of the ideal pump.
func quiet(m Mechanism) (Settings, condition) {
	s := DefaultSettings(1)
	s.Scatter = Scatter{}
	s.PlungerLeak, s.OilAir = 0, 0
	s.Machine.Mechanism = m
	s.Machine.Discharge = Line{Length: 0.5, Bore: 0.08, Manifold: 0.2e-3, Bubble: 1e-7}
	s.Machine.Suction = Line{Length: 0.5, Bore: 0.1, Manifold: 0.2e-3, Bubble: 20e-6}
	s.Machine.SuctionValve.Lag, s.Machine.DischargeValve.Lag = 0.0003, 0.0003
	return s, warmCondition(&s)
}

// delivered integrates to the periodic state and returns the flow out of the
// heads over the pump's displacement, a sample each degree.
func delivered(s *Settings, c *condition) []float64 {
	k := newCircuit(s, c)
	solveCycle(k, c)
	speed := c.speed / 60 * 2 * math.Pi
	displacement := float64(s.Machine.StrokeVolume()) * Cylinders * c.speed / 60
	flow := make([]float64, 360)
	const sub = 4
	for i := range 360 * sub {
		theta := 2 * math.Pi * float64(i+1) / (360 * sub)
		k.step(theta, 2*math.Pi/speed/(360*sub), speed)
		flow[i/sub] += k.flow / displacement / sub
	}
	return flow
}

// spectrum is the orders of samples that stand in the middle of their interval.
func spectrum(samples []float64) []complex128 {
	out := orders(samples, 12)
	for k := range out {
		out[k] *= cmplx.Rect(1, -math.Pi*float64(k)/float64(len(samples)))
	}
	return out
}

// The circuit of valves and chambers and the ideal pump of closed formulas
// share no code but the plunger's position. On a pipe that hardly answers they
// must deliver alike.
func TestTheCircuitDeliversWhatTheIdealPumpDoes(t *testing.T) {
	for _, m := range []Mechanism{{DischargeAway, 5}, {DischargeTowards, 5}, {Sine, 0}} {
		cases := []struct {
			name   string
			change func(h *[Cylinders]head)
		}{
			{"healthy", func(*[Cylinders]head) {}},
			{"one head gassy", func(h *[Cylinders]head) { h[1].gas = 0.1 }},
			{"one head dead", func(h *[Cylinders]head) { h[1].suctionStuck, h[1].plungerLeak = 1, 0 }},
			{"one head small", func(h *[Cylinders]head) { h[2].displacement = 0.8 }},
			{"suction valve leaks", func(h *[Cylinders]head) { h[0].suctionLeak = 0.3 }},
			{"discharge valve leaks", func(h *[Cylinders]head) { h[1].dischargeLeak = 0.3 }},
			{"plunger leaks", func(h *[Cylinders]head) { h[2].plungerLeak = 0.3 }},
			{"discharge seat leaks", func(h *[Cylinders]head) { h[0].bypassLeak = 0.3 }},
		}
		for _, tt := range cases {
			t.Run(fmt.Sprintf("motion %d %s", m.Motion, tt.name), func(t *testing.T) {
				s, c := quiet(m)
				tt.change(&c.heads)
				got := spectrum(delivered(&s, &c))
				want := spectrum(idealOf(&s, &c))
				for _, k := range []int{0, 1, 2, 3, 6} {
					if off := cmplx.Abs(got[k] - want[k]); off > 0.012 {
						t.Errorf("%dx is %.4f at %.0f°, ideal %.4f at %.0f°: off by %.4f of the displacement", k,
							cmplx.Abs(got[k]), cmplx.Phase(got[k])*180/math.Pi, cmplx.Abs(want[k]), cmplx.Phase(want[k])*180/math.Pi, off)
					}
				}
			})
		}
	}
}

func idealOf(s *Settings, c *condition) []float64 {
	var heads [Cylinders]idealHead
	for j := range heads {
		heads[j] = c.heads[j].ideal(c.contactor-c.head, c.contactor, float64(s.Contactor), thinner(oilAnchor))
	}
	flow := make([]float64, 360)
	for i := range 3600 {
		flow[i/10] += idealFlow(s.Machine.Mechanism, &heads, 2*math.Pi*(float64(i)+0.5)/3600) / 10
	}
	return flow
}

// TestThroughTheCharge takes a pump with a dampener through its charge
// pressure, where the content's slope jumps: every step must find the state in
// which no liquid appears or is lost.
func TestThroughTheCharge(t *testing.T) {
	s := DefaultSettings(1)
	s.Machine.Discharge.Length, s.Machine.Discharge.Bore = 10, 0.02
	s.Machine.Dampener = Dampener{Gas: 0.3e-3, Charge: 4.5e6}
	k, err := NewSkid(s)
	if err != nil {
		t.Fatal(err)
	}
	w := k.wearAt(0)
	full := float64(s.Machine.Displacement(s.Machine.RatedSpeed))
	var before *circuit
	for _, place := range []int16{-12, -11, -10, -9, -8, -7, -6, -9, -8, -10, 0, -10, 0} {
		at := corner{}
		at.place[byContactor] = place
		c := at.condition(&s, &w)
		one := newCircuit(&s, &c)
		if before != nil {
			one.adopt(before)
		}
		before = one
		y := solveCycle(one, &c)
		if y.flow < 0.93*full || y.flow > full {
			t.Errorf("against %.2f MPa: flow %.3f of displacement after %d turns, the last two %.0f Pa apart", c.contactor/1e6, y.flow/full, y.turns, y.drift)
		}
	}
}
