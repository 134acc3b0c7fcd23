package hydraulics_test

import (
	"testing"

	"pumpside/drivers/quantity"
	"pumpside/rules/hydraulics"
)

// Glycol tables of gas processing handbooks at 25 and 60 °C (from memory);
// between and beyond calculated by the stated interpolation.
func TestGlycolProperties(t *testing.T) {
	density := map[quantity.Celsius]quantity.KilogramsPerCubicMeter{20: 1122.9, 25: 1119, 40: 1107.4, 60: 1092, 80: 1076.6}
	for at, want := range density {
		near(t, "kg/m³", hydraulics.GlycolDensity(at), want, 0.06)
	}
	viscosity := map[quantity.Celsius]float64{20: 47.2, 25: 37.3, 40: 19.3, 60: 8.77, 80: 4.4, 95: 2.7}
	for at, want := range viscosity {
		near(t, "mPa·s", 1000*float64(hydraulics.GlycolViscosity(at)), want, 0.06)
	}
}
