package hydraulics_test

import (
	"testing"

	"pumpside/drivers/quantity"
	"pumpside/rules/hydraulics"
	"pumpside/rules/pump"
)

// Hydraulic Institute 6.1–6.5 and API 674, D = A·s·m·n; flows calculated.
func TestTheoreticalFlow(t *testing.T) {
	tests := []struct {
		name           string
		bore, stroke   float64 // in
		cylinders      int
		speed          quantity.RevolutionsPerMinute
		gpmWant, lpmin float64
	}{
		{"one inch triplex at 300 rpm", 1, 2, 3, 300, 6.1200, 23.1667},
		{"small triplex at 900 rpm", 0.75, 1, 3, 900, 5.1637, 19.5469},
		{"inch and a half at 400 rpm", 1.5, 2, 3, 400, 18.3600, 69.5000},
		{"quintuplex at 250 rpm", 2, 3, 5, 250, 51.000, 193.056},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			g := pump.Geometry{Bore: quantity.Meters(tt.bore * inch), Stroke: quantity.Meters(tt.stroke * inch), Cylinders: tt.cylinders}
			got := float64(hydraulics.TheoreticalFlow(g, tt.speed))
			near(t, "gpm", got/gpm, tt.gpmWant, 6e-5*tt.gpmWant/5)
			near(t, "L/min", got*60000, tt.lpmin, 3e-5*tt.lpmin)
		})
	}
}

// Handbook form of Hydraulic Institute 6.1–6.5 (equation from memory);
// figures calculated from it.
func TestHandbookEfficiency(t *testing.T) {
	tests := []struct {
		name         string
		p, b         float64 // psi, 1/psi
		dead, slip   quantity.Ratio
		want, linear quantity.Ratio
	}{
		{"1,000 psi, no slip", 1000, 3.3e-6, 1.5, 0, 0.995034, 0.995050},
		{"1,000 psi, 3 % slip", 1000, 3.0e-6, 2.0, 0.03, 0.963982, 0.964000},
		{"5,000 psi, 3 % slip", 5000, 3.0e-6, 3.0, 0.03, 0.924315, 0.925000},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			p, b := quantity.Pascals(tt.p*psi), quantity.PerPascal(tt.b*perPsi)
			near(t, "handbook form", hydraulics.HandbookEfficiency(p, b, tt.dead, tt.slip), tt.want, 5e-7)
			// ρ in = 1, ρ out = 1/(1 − P·b): the density form is then the linear one.
			out := quantity.KilogramsPerCubicMeter(1 / (1 - tt.p*tt.b))
			near(t, "density form less slip", hydraulics.DensityEfficiency(tt.dead, 1, out)-tt.slip, tt.linear, 5e-7)
		})
	}
}

// Mass balance: 10 MPa on 30 mL of oil at 5e-5/bar and 20 mL of glycol at
// 4e-5/bar, for a stroke of 25 mL: 10e6·(1.5e-14 + 0.8e-14)/25e-6 = 0.92 %.
func TestBothDeadVolumesTakeTheirPart(t *testing.T) {
	g := pump.Geometry{Bore: 0.025, Stroke: 0.05, Dead: pump.DeadVolume{Oil: 30e-6, Liquid: 20e-6}}
	b := hydraulics.Compressibility{Oil: 5e-10, Liquid: 4e-10}
	loss := hydraulics.CompressionLoss(g, b, 10e6)
	near(t, "loss", loss, 0.0023/0.25*25e-6/quantity.Ratio(g.Displacement()), 1e-9)
	// With one liquid it is the linear part of the handbook form.
	one := hydraulics.Compressibility{Oil: 4e-10, Liquid: 4e-10}
	dead := quantity.Ratio((g.Dead.Oil + g.Dead.Liquid) / g.Displacement())
	near(t, "one liquid", 1-hydraulics.CompressionLoss(g, one, 10e6), hydraulics.HandbookEfficiency(10e6, 4e-10, dead, 0), 4e-5)
}

func TestPumpSlipIsWhatIsLeft(t *testing.T) {
	eff, ok := hydraulics.VolumetricEfficiency(9.4, 10)
	if !ok {
		t.Fatal("no efficiency at speed")
	}
	near(t, "pump slip", hydraulics.PumpSlip(eff, 0.02), 0.04, 1e-12)
}

func TestNoEfficiencyAtAStandstill(t *testing.T) {
	for _, q := range []quantity.CubicMetersPerSecond{0, -1} {
		if eff, ok := hydraulics.VolumetricEfficiency(1, q); ok {
			t.Errorf("theoretical flow %v gives %v", q, eff)
		}
	}
}
