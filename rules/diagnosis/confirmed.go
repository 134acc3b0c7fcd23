package diagnosis

import (
	"math"
	"math/cmplx"
	"slices"

	"pumpside/rules/hydraulics"
	"pumpside/rules/pump"
)

// Confirmed is what the line shows at the shaft's frequency, once a valve that
// leaked was found where the record says: the change of the pressure that went
// before, by the change of the flow that such a leak makes. How far the leak's
// size was known goes into the point's error. It is false when the evidence
// does not carry that: no angle, a size known to less than a factor of four and
// a half, a change that hardly stands out.
func (m *Model) Confirmed(e *Evidence, valve pump.Position, leak Size) (LinePoint, bool) {
	const (
		clear  = 4   // standard errors of the change
		widest = 4.5 // of the size's interval, as a ratio
		model  = 0.2 // what a real leak's flow differs from the model's
		normal = 1.6448536269514722
	)
	o := &e.Orders[1]
	if !e.Indexed || m.Unconfirmed || !o.Seen || !leak.Known() || leak.High > widest*leak.Low ||
		valve.Side == 0 || valve.Cylinder < 1 || valve.Cylinder > m.Geometry.Cylinders || cmplx.Abs(o.Delta) < clear*o.Sigma {
		return LinePoint{}, false
	}
	turns := float64(e.Speed) / 60
	flow := float64(hydraulics.TheoreticalFlow(m.Geometry, e.Speed)) * leak.Middle / float64(m.Geometry.Cylinders)
	z := o.Delta / (complex(flow, 0) * m.leakOrder(m.Late(e.Pressure), valve, 1))
	return LinePoint{
		Hertz: turns, Turns: turns, Re: real(z), Im: imag(z),
		Error:  math.Hypot(o.Sigma/cmplx.Abs(o.Delta), model),
		Shared: ln(leak.High/leak.Low) / (2 * normal), // the interval holds 90 %
	}, true
}

// Confirm adds a point that a service record has given. It replaces one that
// the same record gave before.
func (l *Line) Confirm(p LinePoint, record int) {
	l.Withdraw(record)
	p.Record = record
	if len(l.Points) == mostPoints {
		l.Points = slices.Delete(l.Points, 0, 1)
	}
	l.Points = append(l.Points, p)
}

// Withdraw takes out what a record has given, because it was wrong. It reports
// whether there was anything.
func (l *Line) Withdraw(record int) bool {
	before := len(l.Points)
	l.Points = slices.DeleteFunc(l.Points, func(p LinePoint) bool { return p.Record == record && record > 0 })
	return len(l.Points) < before
}
