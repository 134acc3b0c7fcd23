package hydraulics

import (
	"math"

	"pumpside/drivers/quantity"
)

// Gas volumes in this file are at standard conditions, 60 °F (15.56 °C) and
// 14.696 psi absolute.

// Pounds, gallons and cubic feet are those of 1959.
const (
	pound     = 0.45359237       // kg
	gallon    = 3.785411784e-3   // m³
	cubicFoot = 0.028316846592   // m³
	psi       = 6894.75729316836 // Pa
	btu       = 1055.05585262    // J, international table
)

// PoundPerMillion is the gas industry's unit of water content, lb per million
// standard cubic feet: 16.0185 mg/m³.
const PoundPerMillion quantity.KilogramsPerCubicMeter = pound / (1e6 * cubicFoot)

// GallonPerPound is the unit in which handbooks give glycol circulation, US
// gallons of glycol per pound of water: 2 to 5, commonly 3.
const GallonPerPound CubicMetersPerKilogram = gallon / pound

// KilogramsPerSecond is a mass flow.
type KilogramsPerSecond float64

// CubicMetersPerKilogram is glycol circulated for each kilogram of water
// taken out of the gas.
type CubicMetersPerKilogram float64

// WaterContent is the water a natural gas holds when saturated, per standard
// volume, at an absolute pressure and a temperature (Bukacek 1959, in the
// form W = A/P + B with P in psi and t in °F):
//
//	W = 47484·P_sat/P + B,  log₁₀ B = 6.69449 − 3083.87/(459.6 + t)  lb/MMscf
//
// with the vapour pressure ln P_sat = 69.103501 − 13064.76/T − 7.3037·ln T +
// 1.2856e-6·T², T in °R. For sweet gas from 60 to 460 °F, 15 to 10,000 psi,
// within 5 %.
func WaterContent(absolute quantity.Pascals, t quantity.Celsius) quantity.KilogramsPerCubicMeter {
	f := float64(t)*1.8 + 32
	b := math.Pow(10, 6.69449-3083.87/(459.6+f))
	w := 47484*saturation(f+459.6)/(float64(absolute)/psi) + b
	return quantity.KilogramsPerCubicMeter(w) * PoundPerMillion
}

// saturation is the vapour pressure of water in psi at T °R.
func saturation(rankine float64) float64 {
	return math.Exp(69.103501 - 13064.76/rankine - 7.3037*math.Log(rankine) + 1.2856e-6*rankine*rankine)
}

// WaterToRemove is the water a flow of gas (at standard conditions) has to
// lose to get from one water content to another; 0 if it is dry enough.
func WaterToRemove(gas quantity.CubicMetersPerSecond, in, out quantity.KilogramsPerCubicMeter) KilogramsPerSecond {
	return max(0, KilogramsPerSecond(float64(gas)*float64(in-out)))
}

// CirculationNeeded is the glycol to circulate for that much water.
func CirculationNeeded(water KilogramsPerSecond, ratio CubicMetersPerKilogram) quantity.CubicMetersPerSecond {
	return quantity.CubicMetersPerSecond(float64(water) * float64(ratio))
}

// CirculationGiven is how much glycol is circulated for each kilogram of
// water there is to remove. It is false when there is no water to remove.
func CirculationGiven(glycol quantity.CubicMetersPerSecond, water KilogramsPerSecond) (CubicMetersPerKilogram, bool) {
	if !(water > 0) {
		return 0, false
	}
	return CubicMetersPerKilogram(float64(glycol) / float64(water)), true
}

// CirculationHeat is the part of the reboiler's heat that goes with the glycol
// and not with the water: 966 Btu a US gallon (Sivalls 1976). What circulates
// beyond need costs as much.
func CirculationHeat(glycol quantity.CubicMeters) quantity.Joules {
	return quantity.Joules(float64(glycol) / gallon * 966 * btu)
}

// ReboilerDuty is the heat the reboiler needs (Sivalls 1976),
// Q = W·(900 + 966·G) Btu/h with water W in lb/h and circulation G in
// gallons per pound.
func ReboilerDuty(water KilogramsPerSecond, ratio CubicMetersPerKilogram) quantity.Watts {
	const btuPerPound = btu / pound // J/kg
	return quantity.Watts(float64(water) * (900 + 966*float64(ratio/GallonPerPound)) * btuPerPound)
}
