package hydraulics_test

import (
	"testing"

	"pumpside/drivers/quantity"
	"pumpside/rules/hydraulics"
)

// Steam tables (IAPWS-IF97): 2.339 kPa at 20 °C, 19.946 at 60, 70.18 at 90,
// 101.42 at 100.
func TestWaterVaporPressure(t *testing.T) {
	for celsius, kilopascals := range map[quantity.Celsius]float64{20: 2.339, 60: 19.946, 90: 70.18, 100: 101.42} {
		near(t, "kPa", float64(hydraulics.WaterVaporPressure(celsius))/1e3, kilopascals, 0.005*kilopascals)
	}
}

// One percent of water by mass is 7.77 % by moles in triethylene glycol
// (calculated: 1/18.015 against 99/150.17), so at 90 °C 5.45 kPa at the most.
func TestGlycolVaporPressureIsThatOfItsWater(t *testing.T) {
	near(t, "kPa", float64(hydraulics.GlycolVaporPressure(90, 0.01))/1e3, 0.07766*70.18, 0.03)
	near(t, "dry", float64(hydraulics.GlycolVaporPressure(90, 0)), 0, 1e-9)
	near(t, "all water", float64(hydraulics.GlycolVaporPressure(90, 1)), float64(hydraulics.WaterVaporPressure(90)), 1e-6)
}
