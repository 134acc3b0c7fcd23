package rules

import (
	"math"
	"math/cmplx"

	"pumpside/drivers"
	"pumpside/rules/condition"
	"pumpside/rules/orders"
	"pumpside/rules/pump"
)

// pressure takes one sample of the discharge pressure.
func (o *observer) pressure(set *Settings, s *State, b *drivers.Batch, value float64) {
	at := b.At.SinceBoot
	place, _ := set.place(drivers.DischargePressure)
	signal := &set.Signals[place]
	o.survey.Add(at.Seconds()-signal.UpdatePeriod.Seconds()/2, value)
	if !o.pace.sample(at) {
		return
	}
	if o.pace.changed() {
		o.remake(set, signal)
	}
	if o.window == nil {
		return
	}
	if rpm, known := s.steadySpeed(set); known {
		o.window.AddSpeed(at, rpm/60)
	}
	full := o.window.Add(orders.Sample{At: at, Half: b.HalfWidth, Value: value})
	if !full {
		return
	}
	if o.calm(s) {
		o.fit(set, s)
	}
	o.window.Reset()
}

// remake makes window and fitter for the pace at which pressure is polled.
func (o *observer) remake(set *Settings, signal *SignalSettings) {
	length, capacity := o.pace.window()
	if length == 0 {
		o.window = nil
		return
	}
	o.window = orders.NewWindow(length, capacity)
	o.fitter = orders.NewFitter(orders.Settings{Cylinders: set.Geometry.Cylinders, Beat: signal.UpdatePeriod}, capacity)
}

// fit finds the orders of a full window and observes them.
func (o *observer) fit(set *Settings, s *State) {
	if o.fitter.Fit(o.window, &o.result) != nil {
		return
	}
	r := &o.result
	if !set.Geometry.Index.Once() {
		r.Index, r.IndexHalf = 0, math.Pi
	}
	o.operate(set, s, r.Speed*60)
	lock := o.track.Align(r, set.Geometry.Cylinders)
	o.indexed = lock == orders.Indexed
	if lock == orders.Lost || lock == orders.Followed && o.band != o.aligned { // it may come from a band that knew no angle
		o.findAngle(set, s)
	}
	o.aligned = o.band
	const steady = 0.01
	if r.Spread > steady {
		return
	}
	o.list = condition.FromOrders(o.list[:0], pump.Discharge, r, highestOrder, 0)
	third := cmplx.Abs(r.Amplitude(set.Geometry.Cylinders))
	n := 0
	for k := 1; k <= highestOrder; k++ {
		if !r.Has(k) {
			continue
		}
		size := cmplx.Abs(r.Amplitude(k))
		moves := size + 0.007*third // see diagnosis: what a pump that is well moves by
		o.list[n].Least, o.list[n].Place, o.list[n].Slope = 0.1*moves, o.place, slopes(orderSlopes, moves)
		o.list[n].Joined = k%set.Geometry.Cylinders != 0
		n++
		o.reference[k] += (r.Amplitude(k) - o.reference[k]) * 0.2
		o.level[k] = orderLevel{size, r.StandardError(k), s.moment.At.SinceBoot}
	}
	o.fitter.Fold(r, &o.fold)
	s.Observed.Condition.Observe(&o.condition, s.moment.At, o.band, o.list)
}

// findAngle turns a result whose angle is known only up to a cylinder to where
// its weak orders fit best what was seen in this band.
func (o *observer) findAngle(set *Settings, s *State) {
	r, m := &o.result, set.Geometry.Cylinders
	best, least := 0, math.Inf(1)
	for j := range m {
		cost, any := 0.0, false
		for _, k := range [...]int{1, 2, 4, 5} {
			if ref := o.referenceOf(s, k); ref != 0 && r.Has(k) {
				d := r.Amplitude(k)*cmplx.Rect(1, -2*math.Pi*float64(k*j)/float64(m)) - ref
				e := r.StandardError(k)
				cost += (real(d)*real(d) + imag(d)*imag(d)) / (e * e)
				any = true
			}
		}
		if any && cost < least {
			best, least = j, cost
		}
	}
	if best > 0 {
		r.Turn(2 * math.Pi * float64(best) / float64(m))
	}
	o.track.Adopt(r)
}

// referenceOf is what order k was lately in this band, or when it was learned.
func (o *observer) referenceOf(s *State, k int) complex128 {
	if o.reference[k] != 0 {
		return o.reference[k]
	}
	if w := o.watchOf(s, k); w != nil {
		return w.Last.Complex()
	}
	return 0
}

// blocksOf is of how many blocks order k was learned in this band.
func (o *observer) blocksOf(s *State, k int) int {
	if w := o.watchOf(s, k); w != nil {
		return w.Baseline.Blocks
	}
	return 0
}

// watchOf is what watches order k in this band; nil before it was seen.
func (o *observer) watchOf(s *State, k int) *condition.Watch {
	for i := range s.Observed.Condition.Bands {
		if b := &s.Observed.Condition.Bands[i]; b.Band == o.band {
			for j := range b.Watches {
				if w := &b.Watches[j]; w.Indicator == condition.OrderIndicator(pump.Discharge, k) {
					return w
				}
			}
		}
	}
	return nil
}
