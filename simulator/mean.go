package simulator

import "math"

// meanFlow is what the heads deliver at n rpm, in m³/s.
func (k *Skid) meanFlow(n float64) float64 {
	if n == 0 {
		return 0
	}
	m := &k.set.Machine
	one := float64(m.Displacement(1)) * n / Cylinders
	ref := k.rated / Cylinders
	sum := 0.0
	for _, h := range k.idealHeads() {
		sum += one*h.displacement*(1-h.late) - ref*(h.dischargeLoss+h.suctionLoss)/2
	}
	return math.Max(0, sum)
}

// idealHeads are the heads as the ideal pump sees them, at the present
// pressure and temperature.
func (k *Skid) idealHeads() (ideal [Cylinders]idealHead) {
	difference := math.Max(0, k.flow.discharge-k.flow.suction)
	for j, h := range k.flow.worn {
		ideal[j] = h.ideal(difference, k.flow.discharge, float64(k.set.Contactor), k.thin)
	}
	return ideal
}

// ideal is the head at a pressure difference and discharge pressure in Pa; the
// leaks of h are stated at the rated pressure. thin is [thinner] of the oil.
func (h *head) ideal(difference, discharge, rated, thin float64) idealHead {
	squeeze := difference * (oilCompressibility*h.oil + glycolCompressibility*(h.dead+1))
	gas := h.gas * atmosphere * (1/(discharge-difference+atmosphere) - 1/(discharge+atmosphere))
	linear, root := difference/rated, math.Sqrt(difference/rated)
	lift := math.Max(0, discharge/rated-0.85) / 0.15
	// A hundredth of the lift passes all a plunger can give at full difference.
	dead := math.Min(1, 100*math.Max(h.suctionStuck, h.dischargeStuck))
	return idealHead{
		displacement:  h.displacement * (1 - math.Min(1, h.makeUp/thin)) * (1 - dead),
		late:          math.Min(1, squeeze+gas),
		dischargeLoss: h.suctionLeak*root + h.plungerLeak*linear*thin + h.relief*lift,
		suctionLoss:   h.dischargeLeak*root + h.bypassLeak*linear,
	}
}
