package hydraulics

import (
	"math"

	"pumpside/drivers/quantity"
)

// GlycolDensity is the density of lean triethylene glycol at a temperature,
// the straight line through 1,119 kg/m³ at 25 °C and 1,092 at 60 °C (glycol
// tables of gas processing handbooks, values from memory); within about 0.5 %
// from 20 to 100 °C.
func GlycolDensity(t quantity.Celsius) quantity.KilogramsPerCubicMeter {
	return quantity.KilogramsPerCubicMeter(1119 - (1119.0-1092)/(60-25)*float64(t-25))
}

// GlycolViscosity is the viscosity of lean triethylene glycol at a
// temperature: ln μ linear in 1/T (Andrade) through 37.3 mPa·s at 25 °C and
// 8.77 mPa·s at 60 °C (same source). Take it as ±15 % outside those. Water
// lowers it strongly: rich glycol is thinner.
func GlycolViscosity(t quantity.Celsius) quantity.PascalSeconds {
	const warm, hot = 25 + zeroCelsius, 60 + zeroCelsius // K
	slope := math.Log(37.3/8.77) / (1/warm - 1/hot)
	return quantity.PascalSeconds(37.3e-3 * math.Exp(slope*(1/kelvin(t)-1/warm)))
}

const zeroCelsius = 273.15 // K

func kelvin(t quantity.Celsius) float64 { return float64(t) + zeroCelsius }
