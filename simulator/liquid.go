package simulator

import (
	"math"

	"pumpside/drivers/quantity"
)

const (
	atmosphere = 101325.0 // Pa absolute

	// Orders of magnitude, common practice, no source: mineral oil about
	// 5e-5 per bar, triethylene glycol 3 to 4e-5 per bar.
	oilCompressibility    = 5e-10   // 1/Pa
	glycolCompressibility = 3.5e-10 // 1/Pa
)

// GlycolViscosity is that of triethylene glycol, by Andrade's law
// ln μ = A + B/T through 37.3 cP at 25 °C and 8.77 cP at 60 °C (values of the
// gas-processing data book, from memory).
func GlycolViscosity(t quantity.Celsius) quantity.PascalSeconds {
	return quantity.PascalSeconds(1e-3 * math.Exp(-10.1613+4108.6/kelvin(t)))
}

// GlycolDensity is that of triethylene glycol: a straight line through
// 1119 kg/m³ at 25 °C and 1092 at 60 °C (same source, from memory).
func GlycolDensity(t quantity.Celsius) quantity.KilogramsPerCubicMeter {
	return quantity.KilogramsPerCubicMeter(1119 - 0.771*(float64(t)-25))
}

// oilViscosity is that of an ISO VG 46 mineral oil: 40 cP at 40 °C, 8.5 at
// 80 °C (common practice, no source).
func oilViscosity(t quantity.Celsius) float64 {
	return 40e-3 * math.Exp(4282*(1/kelvin(t)-1/313.15))
}

// thinner is how much more a viscous gap leaks at t than at 60 °C.
func thinner(t quantity.Celsius) float64 { return oilViscosity(60) / oilViscosity(t) }

func kelvin(t quantity.Celsius) float64 { return float64(t) + 273.15 }
