package simulator

import (
	"math"

	"pumpside/drivers/quantity"
)

// Cylinders is the number of heads of every simulated pump. Cylinder j
// (0, 1, 2) follows cylinder 0 by j thirds of a turn.
const Cylinders = 3

// A Machine is a pump as drawn: no wear, all heads alike. What a real one is
// like is drawn from the seed, see [Scatter].
type Machine struct {
	Mechanism Mechanism
	Bore      quantity.Meters // of a plunger
	Stroke    quantity.Meters

	// DeadVolume is the glycol left in a chamber at the end of discharge and
	// OilVolume the oil between plunger and diaphragm, both as parts of the
	// volume one plunger displaces in a stroke.
	DeadVolume quantity.Ratio
	OilVolume  quantity.Ratio

	GearRatio  float64                       // motor turns per pump turn
	PolePairs  int                           // of the motor
	RatedSpeed quantity.RevolutionsPerMinute // of the pump shaft
	RatedPower quantity.Watts                // of the motor
	RatedSlip  quantity.RevolutionsPerMinute // synchronous speed minus motor speed at rated torque
	Efficiency quantity.Ratio                // mechanical, motor shaft to plunger

	SuctionValve   Valve
	DischargeValve Valve
	Suction        Line
	Discharge      Line
	Dampener       Dampener // on the discharge manifold
}

// A Valve is one self-acting check valve.
type Valve struct {
	Area    quantity.SquareMeters // free flow area, fully open
	Opening quantity.Pascals      // difference that starts to lift it
	Full    quantity.Pascals      // further difference that lifts it fully
	Lag     quantity.Seconds      // time constant of the lift
}

// A Line is a pipe between the pump and a vessel whose pressure stays.
type Line struct {
	Length   quantity.Meters
	Bore     quantity.Meters
	Manifold quantity.CubicMeters // liquid at the pump's end of the line
	Bubble   quantity.CubicMeters // gas that stays there, at atmospheric pressure; nothing is quite free of it
}

// A Dampener is a gas-charged vessel on the discharge manifold. Without gas
// it does nothing.
type Dampener struct {
	Gas    quantity.CubicMeters // gas volume at the charge pressure
	Charge quantity.Pascals
}

// DefaultMachine is a triplex for 23 L/min at 300 rpm and 7 MPa on 20 m of
// discharge line, without a dampener.
func DefaultMachine() Machine {
	return Machine{
		Mechanism:      Mechanism{Motion: DischargeAway, RodRatio: 5},
		Bore:           0.0254,
		Stroke:         0.0508,
		DeadVolume:     2,
		OilVolume:      3,
		GearRatio:      29.0 / 6,
		PolePairs:      2,
		RatedSpeed:     300,
		RatedPower:     4000,
		RatedSlip:      50,
		Efficiency:     0.88,
		SuctionValve:   Valve{Area: 2e-4, Opening: 4e3, Full: 12e3, Lag: 0.0015},
		DischargeValve: Valve{Area: 1.6e-4, Opening: 10e3, Full: 20e3, Lag: 0.0015},
		Suction:        Line{Length: 4, Bore: 0.05, Manifold: 1.5e-3, Bubble: 20e-6},
		Discharge:      Line{Length: 16, Bore: 0.025, Manifold: 0.4e-3, Bubble: 0.1e-6},
	}
}

// ForSpeed is the same machine made for another rated speed of its shaft: the
// same flow from shorter strokes and smaller bores, valves that are as quick in
// parts of a turn, the same motor.
func (m Machine) ForSpeed(n quantity.RevolutionsPerMinute) Machine {
	ratio := float64(m.RatedSpeed / n)
	length := quantity.Meters(math.Cbrt(ratio))
	m.Bore *= length
	m.Stroke *= length
	m.GearRatio *= ratio
	m.RatedSpeed = n
	m.SuctionValve.Lag *= quantity.Seconds(ratio)
	m.DischargeValve.Lag *= quantity.Seconds(ratio)
	return m
}

// StrokeVolume is what one plunger displaces in one stroke.
func (m Machine) StrokeVolume() quantity.CubicMeters {
	return quantity.CubicMeters(math.Pi / 4 * float64(m.Bore) * float64(m.Bore) * float64(m.Stroke))
}

// Displacement is the flow of a pump without any loss at shaft speed n:
// area × stroke × cylinders × speed (Hydraulic Institute 6.1–6.5).
func (m Machine) Displacement(n quantity.RevolutionsPerMinute) quantity.CubicMetersPerSecond {
	return quantity.CubicMetersPerSecond(float64(m.StrokeVolume()) * Cylinders * float64(n) / 60)
}
