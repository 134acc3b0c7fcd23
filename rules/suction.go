package rules

import (
	"math"

	"pumpside/drivers"
	"pumpside/drivers/quantity"
	"pumpside/rules/alarm"
	"pumpside/rules/hydraulics"
)

// Suction is what the liquid needs and has before the pump.
type Suction struct {
	// Required is the net positive suction head the pump needs at rated speed,
	// by its maker; 0: not stated, and no margin is told.
	Required quantity.Meters
	// Line is the pipe from the vessel: without a length no acceleration head
	// is taken off, as behind a suction dampener at the pump. Its Friction is
	// in the pressure read already.
	Line       hydraulics.SuctionLine
	Atmosphere quantity.Pascals // absolute
	Water      quantity.Ratio   // in the lean glycol, by mass
}

// suctionMargin is the net positive suction head available at the pump less the
// one it requires. It takes a suction pressure of the pump's own, a
// temperature and a pump that runs.
func (s *State) suctionMargin(set *Settings) Number {
	p, read := s.settled(set, drivers.SuctionPressure)
	t, warm := s.newest(set, drivers.GlycolTemperature)
	rpm, turning := s.steadySpeed(set)
	running, since := s.running()
	if !(set.Suction.Required > 0) || !read || !warm || !turning || running != alarm.Yes || since < calmFor || s.notOwn(set, drivers.SuctionPressure) {
		return Number{}
	}
	speed, celsius, line := quantity.RevolutionsPerMinute(rpm), quantity.Celsius(t), set.Suction.Line
	var v quantity.MetersPerSecond
	var acceleration quantity.Meters
	if line.Bore > 0 {
		v = line.Velocity(hydraulics.TheoreticalFlow(set.Geometry, speed))
	}
	if line.Length > 0 {
		c := hydraulics.AccelerationFactor(set.Geometry.Mechanism, set.Geometry.Cylinders)
		acceleration = hydraulics.AccelerationHead(line.Length, v, speed, c, line.Liquid)
	}
	available := hydraulics.NetPositiveHeadAtFlange(
		quantity.Pascals(p), set.Suction.Atmosphere, hydraulics.GlycolVaporPressure(celsius, set.Suction.Water), hydraulics.GlycolDensity(celsius),
		v, acceleration)
	margin := float64(hydraulics.NetPositiveMargin(available, set.Suction.Required))
	return Number{!math.IsNaN(margin), margin}
}
