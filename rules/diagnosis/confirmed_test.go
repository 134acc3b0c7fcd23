package diagnosis

import (
	"math"
	"math/cmplx"
	"testing"

	"pumpside/rules/hydraulics"
	"pumpside/rules/pump"
)

// A leak q through the closed valve for half a turn is a line of (2/π)·q at
// once a turn: a square wave's first Fourier coefficient. Behind a line of a
// known impedance that is the pressure; seen backwards, the pressure and the
// valve give the line. The valve opens late by some percent, so the angle is
// within some degrees of the square wave's.
func TestAFoundValveGivesTheLine(t *testing.T) {
	m := NewModel(triplex(), &Line{})
	z := cmplx.Rect(5e7, 1) // Pa by m³/s
	flow := float64(hydraulics.TheoreticalFlow(m.Geometry, 300)) / 3
	e := Evidence{Speed: 300, Pressure: 7e6, Indexed: true}
	// The suction valve of cylinder 2 lets flow back while that cylinder
	// discharges, from 120° to 300°: less flow, centred on 210°.
	q := -0.1 * flow * 2 / math.Pi
	e.Orders[1] = OrderChange{Seen: true, Delta: z * complex(q, 0) * cmplx.Rect(1, -210*math.Pi/180), Sigma: 1}
	size := Size{Low: 0.08, Middle: 0.1, High: 0.125}
	valve := pump.Position{Cylinder: 2, Side: pump.Suction}

	p, ok := m.Confirmed(&e, valve, size)
	if !ok {
		t.Fatal("nothing learned")
	}
	got := complex(p.Re, p.Im)
	if turn := math.Abs(cmplx.Phase(got / z)); turn > 0.2 || math.Abs(cmplx.Abs(got)/5e7-1) > 0.1 {
		t.Errorf("line %.3g at %.2f rad, want 5e7 at 1", cmplx.Abs(got), cmplx.Phase(got))
	}
	m.Line.Confirm(p, 7)
	if ok, why := m.Nameable(300); !ok {
		t.Errorf("not nameable: %s", why)
	}
	if ok, _ := m.Nameable(600); ok {
		t.Error("the line is known at twice the speed, where nobody saw it")
	}
	if !m.Line.Withdraw(7) || len(m.Line.Points) != 0 || m.Line.Withdraw(7) {
		t.Errorf("after the record was undone: %d points", len(m.Line.Points))
	}

	for _, tt := range []struct {
		name   string
		change func(*Evidence, *Size, *pump.Position)
	}{
		{"no angle", func(e *Evidence, _ *Size, _ *pump.Position) { e.Indexed = false }},
		{"no size", func(_ *Evidence, s *Size, _ *pump.Position) { *s = Size{} }},
		{"size hardly known", func(_ *Evidence, s *Size, _ *pump.Position) { s.Low = 0.02 }},
		{"nobody said which side", func(_ *Evidence, _ *Size, p *pump.Position) { p.Side = 0 }},
		{"nobody said which cylinder", func(_ *Evidence, _ *Size, p *pump.Position) { p.Cylinder = 0 }},
		{"a change that hardly stands out", func(e *Evidence, _ *Size, _ *pump.Position) {
			e.Orders[1].Sigma = cmplx.Abs(e.Orders[1].Delta) / 3
		}},
	} {
		e, size, valve := e, size, valve
		tt.change(&e, &size, &valve)
		if _, ok := m.Confirmed(&e, valve, size); ok {
			t.Errorf("%s: a point was learned", tt.name)
		}
	}
}
