package hydraulics

import (
	"pumpside/drivers/quantity"
	"pumpside/rules/pump"
)

// TheoreticalFlow is displacement times speed, D = A·s·m·n (Hydraulic
// Institute 6.1–6.5), at a speed of the pump's own shaft.
func TheoreticalFlow(g pump.Geometry, speed quantity.RevolutionsPerMinute) quantity.CubicMetersPerSecond {
	return quantity.CubicMetersPerSecond(float64(g.DisplacementPerRevolution()) * float64(speed) / 60)
}

// VolumetricEfficiency is measured flow by theoretical flow. It is false at a
// standstill and in reverse. Above 1 it is the flow meter or the geometry
// that is wrong, not the pump that is good.
func VolumetricEfficiency(measured, theoretical quantity.CubicMetersPerSecond) (quantity.Ratio, bool) {
	if !(theoretical > 0) {
		return 0, false
	}
	return quantity.Ratio(measured / theoretical), true
}

// HandbookEfficiency is the volumetric efficiency of one chamber by the
// handbook form (Hydraulic Institute 6.1–6.5),
//
//	[1 − P·b·(1 + c/d)] / (1 − P·b) − S,
//
// with the differential pressure P, compressibility b, the ratio c/d of dead
// volume to displaced volume, and pump slip S. It is the exact mass balance
// of a chamber that fills at suction density, 1 − (c/d)·P·b/(1 − P·b), for
// the volume delivered reckoned at suction density.
func HandbookEfficiency(p quantity.Pascals, b quantity.PerPascal, dead, slip quantity.Ratio) quantity.Ratio {
	pb := quantity.Ratio(float64(p) * float64(b))
	return (1-pb*(1+dead))/(1-pb) - slip
}

// DensityEfficiency is the volumetric efficiency without slip by the density
// form of gas processing handbooks, 1 − r·(1 − ρi/ρo), from suction density
// in and discharge density out. Here r is dead volume by displaced volume,
// c/d; it then agrees with [HandbookEfficiency] to first order in P·b. (With
// r = 1 + c/d the same form gives the volume reckoned at discharge density.)
func DensityEfficiency(r quantity.Ratio, in, out quantity.KilogramsPerCubicMeter) quantity.Ratio {
	return 1 - r*quantity.Ratio(1-in/out)
}

// Compressibility holds how far the two liquids of a diaphragm pump give.
type Compressibility struct {
	Oil    quantity.PerPascal // mineral oil: about 5e-10 (5e-5 per bar)
	Liquid quantity.PerPascal // glycol: about 3e-10 to 4e-10
}

// TypicalCompressibility is that of mineral oil and triethylene glycol, an
// order of magnitude (values from memory).
var TypicalCompressibility = Compressibility{Oil: 5e-10, Liquid: 3.5e-10}

// CompressionLoss is the share of each stroke spent on compressing what stays
// in the dead volumes, P·(b_oil·V_oil + b_liquid·V_liquid)/V_stroke: the mass
// balance of both chambers, to first order. It is flow the pump cannot
// deliver although no liquid slips back.
func CompressionLoss(g pump.Geometry, b Compressibility, p quantity.Pascals) quantity.Ratio {
	given := float64(b.Oil)*float64(g.Dead.Oil) + float64(b.Liquid)*float64(g.Dead.Liquid)
	return quantity.Ratio(float64(p) * given / float64(g.Displacement()))
}

// PumpSlip is the share of displacement that flows back through valves and
// seals: what volumetric efficiency lacks after compression has had its part.
func PumpSlip(efficiency, compressionLoss quantity.Ratio) quantity.Ratio {
	return 1 - compressionLoss - efficiency
}
