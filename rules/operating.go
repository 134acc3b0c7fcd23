package rules

import (
	"math"

	"pumpside/drivers"
	"pumpside/drivers/quantity"
	"pumpside/rules/condition"
	"pumpside/rules/orders"
)

// operate finds the band the pump works in. The band goes by the drive's speed, where that is known, whatever indicator
// asks: two speeds that differ a little would change it with every reading.
func (o *observer) operate(set *Settings, s *State, speed float64) {
	p, ok := s.settled(set, drivers.DischargePressure)
	if !ok {
		p = o.result.Mean
	}
	o.operating = condition.Operating{
		Speed: quantity.RevolutionsPerMinute(speed), Pressure: quantity.Pascals(p),
		Glycol: s.temperature(set, drivers.GlycolTemperature), Oil: s.temperature(set, drivers.HydraulicOilTemperature),
	}
	at := o.operating
	if rpm, known := s.steadySpeed(set); known {
		at.Speed = quantity.RevolutionsPerMinute(rpm)
	}
	band := o.hold(at)
	if band != o.band {
		o.band, o.reference, o.fold = band, [highestOrder + 1]complex128{}, orders.Fold{}
		o.recallRipple(set, s)
		o.recents = o.recents[:0]
	}
	o.place = o.condition.Bands.Place(o.operating, band)
}

// How far indicators may depend on speed, pressure, glycol and oil within a
// band (common practice, no source). A line's answer to an order may go up and
// down by a part within 5 % of speed, and its phase with it; gas in dampener and
// heads goes with the pressure. Of the volumetric efficiency compression and
// leakage take some hundredths, which go with the pressure; leakage goes with
// the oil's viscosity.
var (
	orderSlopes      = condition.Place{1, 0.3, 0.2, 0.1} // of the order
	efficiencySlopes = condition.Place{0.003, 0.01, 0.003, 0.015}
	torqueSlopes     = condition.Place{0.02, 0.02, 0.01, 0.02} // of the torque
	suctionSlopes    = condition.Place{2e3, 1e3, 2e3, 0}       // Pa
)

func slopes(of condition.Place, size float64) condition.Place {
	for i := range of {
		of[i] *= size
	}
	return of
}

// hold stays in a band until the operating point is well out of it, so that a
// pump on an edge does not change band with every window.
func (o *observer) hold(at condition.Operating) condition.Band {
	const beyond = 0.15 // of a band's width
	b := o.condition.Bands.Of(at)
	w := o.condition.Bands
	stay := func(now, was int, x, width float64) int {
		if now != was && math.Abs(x/width-float64(was)) < 0.5+beyond {
			return was
		}
		return now
	}
	b.Speed = stay(b.Speed, o.band.Speed, float64(at.Speed), float64(w.Speed))
	b.Pressure = stay(b.Pressure, o.band.Pressure, float64(at.Pressure), float64(w.Pressure))
	b.Glycol = stay(b.Glycol, o.band.Glycol, float64(at.Glycol), float64(w.Glycol))
	b.Oil = stay(b.Oil, o.band.Oil, float64(at.Oil), float64(w.Oil))
	return b
}

func (s *State) temperature(set *Settings, signal drivers.Signal) quantity.Celsius {
	if t, ok := s.newest(set, signal); ok {
		return quantity.Celsius(t)
	}
	return condition.None
}

// flow observes the volumetric efficiency.
func (o *observer) flow(set *Settings, s *State, flow float64) {
	if !o.calm(s) {
		return
	}
	rpm, _ := s.steadySpeed(set)
	if seen, ok := condition.FromFlow(set.Geometry, quantity.CubicMetersPerSecond(flow), quantity.RevolutionsPerMinute(rpm)); ok {
		o.number(set, s, seen, efficiencySlopes)
	}
}

// torque observes the torque by differential pressure.
func (o *observer) torque(set *Settings, s *State, torque float64) {
	p, ok := s.settled(set, drivers.DischargePressure)
	if !ok || !o.calm(s) || !(p > 0) {
		return
	}
	suction, _ := s.settled(set, drivers.SuctionPressure)
	if p -= max(suction, 0); p > 0 {
		x := torque / p
		o.number(set, s, condition.Number(condition.TorquePerPressure, x, 0.02*x), slopes(torqueSlopes, x))
	}
}

// suction observes the mean suction pressure.
func (o *observer) suction(set *Settings, s *State) {
	if p, ok := s.settled(set, drivers.SuctionPressure); ok && o.calm(s) {
		o.number(set, s, condition.Number(condition.SuctionPressure, p, 4e3), suctionSlopes)
	}
}

// number observes one plain number, at the operating point of the moment.
func (o *observer) number(set *Settings, s *State, seen condition.Observation, slope condition.Place) {
	rpm, _ := s.steadySpeed(set)
	o.operate(set, s, rpm)
	seen.Place, seen.Slope = o.place, slope
	o.list = append(o.list[:0], seen)
	s.Observed.Condition.Observe(&o.condition, s.moment.At, o.band, o.list)
}
