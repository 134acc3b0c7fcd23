package rules

import (
	"math"
	"math/cmplx"

	"pumpside/rules/condition"
	"pumpside/rules/orders"
	"pumpside/rules/pump"
)

// An OrderView is one order of the discharge pressure.
//
// Angles are of the cosine's crest: the order is highest where the order times
// the shaft's angle equals them. They count from the waveform's zero.
type OrderView struct {
	Order     int     `json:"order"`
	Amplitude float64 `json:"pascals"`        // of the newest window
	Sigma     float64 `json:"standard_error"` // of it, along any one direction
	// Now and Learned are the vectors that are compared: the mean of the last
	// minute of windows, or, while a change stands, since it began and at most
	// some half an hour of windows; and the baseline where the pump works now.
	// Nil while there is none. A fault moves the vector, and may make it
	// shorter.
	Now     *VectorView `json:"now,omitempty"`
	Learned *VectorView `json:"learned,omitempty"`
	Moved   bool        `json:"moved,omitempty"` // by more than chance
}

// A VectorView is the amplitude and angle of an order.
type VectorView struct {
	Amplitude float64 `json:"pascals"`
	Degrees   float64 `json:"degrees"` // −180 to 180
}

// A WaveformView is the discharge pressure over one turn of the shaft, in Pa
// less its mean, at [orders.Bins] angles in the middle of as many equal parts
// of a turn. Each list is empty while it is not known.
//
// Now and Learned are drawn from the same orders, listed in Orders, so that
// they differ only by what has changed; see [OrderView] for the time they span.
// The learned one is the baseline itself, orders as they were learned, not a
// curve stored beside it. Read is what was read, in some seconds of windows,
// free of any choice of orders: it shows how well the curves tell the pressure.
type WaveformView struct {
	Zero    string    `json:"zero"` // what angle 0 is: one of the Zero constants
	Mean    float64   `json:"mean"` // Pa, where the pump works now
	Orders  []int     `json:"orders,omitempty"`
	Now     []float32 `json:"now,omitempty"`
	Learned []float32 `json:"learned,omitempty"`
	Read    []float32 `json:"read,omitempty"` // bins never hit are filled from their neighbours
}

// What angle 0 of a waveform is.
const (
	ZeroCylinder1 = "cylinder_1" // cylinder 1 begins its discharge stroke
	ZeroIndex     = "index"      // the index mark; nobody has stated where cylinder 1 then is
	ZeroRipple    = "ripple"     // without an index: up to a cylinder's share of a turn, kept from window to window
)

// orderViews gives the orders measured lately, and the turn over which they
// are drawn.
func (s *State) orderViews(set *Settings) (list []OrderView, w *WaveformView) {
	o, now := &s.observer, s.moment.At.SinceBoot
	zero, shift := o.zero(set)
	w = &WaveformView{Zero: zero, Mean: float64(o.operating.Pressure)}
	var curves [2]curve // now and learned
	for k, l := range o.level {
		if l.at == 0 || now-l.at >= ordersLast {
			continue
		}
		v := OrderView{Order: k, Amplitude: l.amplitude, Sigma: l.sigma}
		turn := cmplx.Rect(1, -float64(k)*shift)
		if c := o.changeOf(condition.OrderIndicator(pump.Discharge, k)); c != nil && c.Value != 0 {
			seen := o.seen(c) * turn
			v.Now, v.Moved = vectorView(seen), c.Raised
			curves[0].add(k, seen)
			if c.Learned {
				v.Learned = vectorView(c.Baseline * turn)
				curves[1].add(k, c.Baseline*turn)
			}
			w.Orders = append(w.Orders, k)
		}
		list = append(list, v)
	}
	if len(w.Orders) == 0 {
		return list, nil
	}
	w.Now = curves[0].points()
	if curves[1].orders == len(w.Orders) {
		w.Learned = curves[1].points()
	}
	w.Read = read(&o.fold, shift)
	return list, w
}

// zero says what the waveform's angles count from, and what is to be added to
// the fitted ones, in radians.
func (o *observer) zero(set *Settings) (name string, shift float64) {
	switch {
	case o.indexed && set.Geometry.NamesCylinders():
		return ZeroCylinder1, float64(set.Geometry.Index.Angle) * math.Pi / 180
	case o.indexed:
		return ZeroIndex, 0
	}
	return ZeroRipple, 0
}

func (o *observer) changeOf(i condition.Indicator) *condition.Change {
	for j := range o.changes {
		if o.changes[j].Indicator == i {
			return &o.changes[j]
		}
	}
	return nil
}

// seen is where an indicator is now: while a change stands the mean since it
// began, and otherwise the last block.
func (o *observer) seen(c *condition.Change) complex128 {
	for i := range o.recents {
		if delta, _, ok := o.recents[i].change(); ok && o.recents[i].indicator == c.Indicator {
			return c.Baseline + delta
		}
	}
	return c.Value
}

func vectorView(z complex128) *VectorView {
	return &VectorView{Amplitude: cmplx.Abs(z), Degrees: cmplx.Phase(z) * 180 / math.Pi}
}

// A curve is a sum of orders over one turn.
type curve struct {
	orders int
	y      [orders.Bins]float64
}

// add adds Re(z·exp(ikθ)) in the middle of each bin.
func (c *curve) add(k int, z complex128) {
	c.orders++
	step := cmplx.Rect(1, 2*math.Pi*float64(k)/orders.Bins)
	z *= cmplx.Rect(1, math.Pi*float64(k)/orders.Bins)
	for i := range c.y {
		c.y[i] += real(z)
		z *= step
	}
}

func (c *curve) points() []float32 {
	list := make([]float32, len(c.y))
	for i, y := range c.y {
		list[i] = whole(y)
	}
	return list
}

// whole rounds to whole Pa: what a transmitter tells is coarser.
func whole(y float64) float32 { return float32(math.Round(y)) }

// read gives the fold from the waveform's zero on; nil while less than half of
// a turn was seen.
func read(f *orders.Fold, shift float64) []float32 {
	const n = orders.Bins
	seen := 0
	for _, s := range f.Seen {
		if s {
			seen++
		}
	}
	if 2*seen < n {
		return nil
	}
	list := make([]float32, n)
	back := shift / (2 * math.Pi) * n
	for i := range list {
		list[i] = whole(f.At(float64(i) + 0.5 - back))
	}
	return list
}
