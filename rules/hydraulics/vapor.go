package hydraulics

import (
	"math"

	"pumpside/drivers/quantity"
)

// WaterVaporPressure is the absolute vapour pressure of water at a temperature
// from 1 to 100 °C: Antoine's equation with the usual constants for that range
// (handbooks of chemistry; values from memory), within 0.5 % of the steam
// tables there.
func WaterVaporPressure(t quantity.Celsius) quantity.Pascals {
	const pascalsPerMillimeterMercury = 101325.0 / 760
	return quantity.Pascals(pascalsPerMillimeterMercury * math.Pow(10, 8.07131-1730.63/(233.426+float64(t))))
}

// GlycolVaporPressure is the most vapour pressure, absolute, that triethylene
// glycol with a share of water by mass can have at a temperature: that of the
// water by Raoult's law. Glycol holds water more tightly than that, and its own
// vapour is less than a hundredth of it, so the truth is lower.
func GlycolVaporPressure(t quantity.Celsius, water quantity.Ratio) quantity.Pascals {
	const waterMolar, glycolMolar = 18.015, 150.17 // g/mol
	w := float64(water) / waterMolar
	return WaterVaporPressure(t) * quantity.Pascals(w/(w+(1-float64(water))/glycolMolar))
}
