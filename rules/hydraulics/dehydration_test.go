package hydraulics_test

import (
	"fmt"
	"testing"

	"pumpside/drivers/quantity"
	"pumpside/rules/hydraulics"
)

func fahrenheit(f float64) quantity.Celsius { return quantity.Celsius((f - 32) / 1.8) }

// Bukacek's form with steam-table vapour pressures; ASTM D1142 (after IGT
// RB-8) prints the same within 0.5 %. The vapour pressure formulas in use
// differ by up to 1 %, hence the tolerance.
func TestWaterContent(t *testing.T) {
	tests := []struct{ f, psia, want float64 }{ // °F, psi, lb/MMscf
		{100, 1000, 60.40},
		{80, 1000, 33.63},
		{60, 1000, 17.92},
		{120, 1000, 104.14},
		{100, 500, 105.53},
		{100, 800, 71.68},
		{100, 100, 466.6},
		{40, 1000, 9.11},
		{32, 1000, 6.85},
		{120, 600, 157.8},
	}
	for _, tt := range tests {
		got := hydraulics.WaterContent(quantity.Pascals(tt.psia*psi), fahrenheit(tt.f)) / hydraulics.PoundPerMillion
		near(t, fmt.Sprintf("%v °F %v psi", tt.f, tt.psia), float64(got), tt.want, 0.01*tt.want)
	}
	exact := hydraulics.WaterContent(1000*psi, fahrenheit(100)) / hydraulics.PoundPerMillion
	near(t, "with its own vapour pressure formula", float64(exact), 60.31, 0.005)
}

// ASTM D1142 table A, B (from memory): at low pressure W·P tends to A.
func TestWaterContentAgreesWithTheTable(t *testing.T) {
	tests := []struct{ f, a, b float64 }{{40, 5780, 3.34}, {60, 12200, 5.77}, {80, 24100, 9.57}, {100, 45100, 15.3}, {120, 80400, 23.7}, {140, 138000, 35.6}}
	for _, tt := range tests {
		for _, p := range []float64{100, 1000} {
			want := tt.a/p + tt.b
			got := hydraulics.WaterContent(quantity.Pascals(p*psi), fahrenheit(tt.f)) / hydraulics.PoundPerMillion
			near(t, fmt.Sprintf("%v °F %v psi", tt.f, p), float64(got), want, 0.01*want)
		}
	}
}

// 1 lb/MMscf = 16.0185 mg/m³; 7 lb/MMscf, the usual outlet limit, 112.13.
func TestPoundPerMillion(t *testing.T) {
	near(t, "mg/m³", float64(hydraulics.PoundPerMillion)*1e6, 16.0185, 5e-5)
	near(t, "7 lb in mg/m³", float64(7*hydraulics.PoundPerMillion)*1e6, 112.13, 5e-3)
}

// 966 Btu a gallon (Sivalls 1976) is 966 × 1055.06 J in 3.785 L: 0.0748 kWh a
// litre.
func TestCirculationHeat(t *testing.T) {
	near(t, "kWh a litre", float64(hydraulics.CirculationHeat(1e-3))/3.6e6, 0.07479, 1e-5)
}

// 10 MMscf a day from 60.40 to 7 lb/MMscf: 534.0 lb/d; 3 gal/lb is 4.211
// L/min; reboiler 22.25·(900 + 966·3) = 84,505 Btu/h (Sivalls 1976).
func TestCirculation(t *testing.T) {
	const million = 1179.87 / 3600 // standard m³/s in 1 MMscf/d
	water := hydraulics.WaterToRemove(10*million, 60.40*hydraulics.PoundPerMillion, 7*hydraulics.PoundPerMillion)
	near(t, "lb/d", float64(water)/pound*86400, 534.0, 0.05)
	for _, tt := range []struct{ ratio, gpm float64 }{{2, 0.7417}, {3, 1.1125}, {5, 1.854}} {
		flow := hydraulics.CirculationNeeded(water, hydraulics.CubicMetersPerKilogram(tt.ratio)*hydraulics.GallonPerPound)
		near(t, fmt.Sprintf("gpm at %v gal/lb", tt.ratio), float64(flow)/gpm, tt.gpm, 5e-4)
	}
	flow := hydraulics.CirculationNeeded(water, 3*hydraulics.GallonPerPound)
	near(t, "L/min", float64(flow)*60000, 4.211, 1e-3)
	given, ok := hydraulics.CirculationGiven(flow, water)
	if !ok {
		t.Fatal("no circulation given")
	}
	near(t, "gal/lb", float64(given/hydraulics.GallonPerPound), 3, 1e-12)
	const btuPerHour = 1055.05585262 / 3600
	near(t, "Btu/h", float64(hydraulics.ReboilerDuty(water, given))/btuPerHour, 84505, 10)
}

func TestDryGasNeedsNoCirculation(t *testing.T) {
	water := hydraulics.WaterToRemove(1, 1e-6, 2e-6)
	if water != 0 {
		t.Errorf("water to remove %v, want 0", water)
	}
	if given, ok := hydraulics.CirculationGiven(1, water); ok {
		t.Errorf("circulation given %v for no water", given)
	}
}
