package hydraulics

import (
	"math"

	"pumpside/drivers/quantity"
	"pumpside/rules/pump"
)

// A SuctionLine is the pipe from the vessel to the pump.
type SuctionLine struct {
	Length   quantity.Meters
	Bore     quantity.Meters // inner diameter
	Friction quantity.Meters // head lost to friction at rated flow
	// Liquid is the handbooks' factor k for the give of the liquid: 1.4
	// almost none (deaerated water), 1.5 amine, glycol, water, 2.0 most
	// hydrocarbons, 2.5 hot oil or ethane (value from memory).
	Liquid float64
}

// GlycolLiquid is the factor k of glycol, see [SuctionLine.Liquid].
const GlycolLiquid = 1.5

// Velocity is the mean velocity in the pipe.
func (l SuctionLine) Velocity(flow quantity.CubicMetersPerSecond) quantity.MetersPerSecond {
	area := math.Pi / 4 * float64(l.Bore*l.Bore)
	return quantity.MetersPerSecond(float64(flow) / area)
}

// AccelerationFactor is the constant C of the acceleration head, which the
// handbooks tabulate (triplex 0.066): (2π/60)·max|d(q/q̄)/dθ| of the ideal
// flow. The tables belong to a rod ratio of 5; this is of the mechanism at
// hand.
func AccelerationFactor(m pump.Mechanism, cylinders int) float64 {
	high, low := extremes(cylinders, m.Acceleration)
	return 2 * math.Pi / 60 * max(high, -low) * math.Pi / float64(cylinders)
}

// AccelerationHead is the head it takes to accelerate the liquid in a short,
// stiff suction line without dampener at each stroke (Hydraulic Institute
// 6.1–6.5), with the pump's speed n in rpm:
//
//	h = L·v·n·C / (k·g)
func AccelerationHead(length quantity.Meters, v quantity.MetersPerSecond, speed quantity.RevolutionsPerMinute, c, k float64) quantity.Meters {
	return quantity.Meters(float64(length) * float64(v) * float64(speed) * c / (k * quantity.StandardGravity))
}

// A Suction is the state of the liquid before the pump.
type Suction struct {
	SurfaceAbsolute quantity.Pascals // absolute pressure over the liquid in the vessel
	VaporAbsolute   quantity.Pascals // absolute vapour pressure of the liquid as pumped
	Density         quantity.KilogramsPerCubicMeter
	Level           quantity.Meters // liquid level above the pump; negative for a suction lift
	Friction        quantity.Meters // head lost to friction
	Acceleration    quantity.Meters // see [AccelerationHead]
}

// NetPositiveHead is NPSH available,
//
//	(p_surface − p_vapour)/(ρ·g) + level − friction − acceleration.
func (s Suction) NetPositiveHead() quantity.Meters {
	pressure := float64(s.SurfaceAbsolute-s.VaporAbsolute) / (float64(s.Density) * quantity.StandardGravity)
	return quantity.Meters(pressure) + s.Level - s.Friction - s.Acceleration
}

// StandardAtmosphere is 101,325 Pa absolute, by definition.
const StandardAtmosphere quantity.Pascals = 101325

// NetPositiveHeadAtFlange is NPSH available from a gauge pressure measured at
// the pump's suction, which already has level and friction in it. Ripple
// averages out of the measured mean, so acceleration head is still taken off.
func NetPositiveHeadAtFlange(gauge, atmosphere, vaporAbsolute quantity.Pascals, density quantity.KilogramsPerCubicMeter, v quantity.MetersPerSecond, acceleration quantity.Meters) quantity.Meters {
	s := Suction{SurfaceAbsolute: gauge + atmosphere, VaporAbsolute: vaporAbsolute, Density: density, Acceleration: acceleration}
	return s.NetPositiveHead() + quantity.Meters(float64(v*v)/(2*quantity.StandardGravity))
}

// NetPositiveMargin is NPSH available less NPSH required; the pump cavitates
// below 0.
func NetPositiveMargin(available, required quantity.Meters) quantity.Meters {
	return available - required
}
