package diagnosis

import (
	"slices"

	"pumpside/drivers/quantity"
	"pumpside/rules/pump"
)

// partsOf ranks what may be behind a cause: shares of what people find there
// (common practice, no source). A valve is never given more than half: nothing
// in the orders tells it from the hydraulic side of its head.
var partsOf = map[string][]struct {
	component pump.Component
	share     float64
}{
	LossInDischargeHalf: {{pump.SuctionValve, 0.45}, {pump.SeatSeal, 0.1}, {pump.PlungerSeal, 0.25}, {pump.OilReliefValve, 0.15}, {pump.Diaphragm, 0.05}},
	LossInSuctionHalf:   {{pump.DischargeValve, 0.5}, {pump.SeatSeal, 0.2}, {pump.Strainer, 0.1}},
	SmallHead:           {{pump.MakeUpValve, 0.6}, {pump.Diaphragm, 0.2}},
	LateHead:            {{pump.MakeUpValve, 0.2}, {pump.DischargeValve, 0.3}, {pump.SuctionValve, 0.2}},
	SpeedWobble:         {{pump.Transmission, 0.6}, {pump.BearingsAndCrank, 0.4}},
	LineChanged:         {{pump.Dampener, 0.7}},
	AllHeadsLate:        {{pump.HydraulicOil, 0.8}},
	SuctionStarved:      {{pump.Strainer, 0.7}},
	UniformWear:         {{pump.SuctionValve, 0.3}, {pump.DischargeValve, 0.3}, {pump.PlungerSeal, 0.4}},
	BypassPassing:       {{pump.PressureReliefLine, 0.9}},
	TransmissionSlip:    {{pump.Transmission, 1}},
	GasLocked:           {{pump.Strainer, 0.4}},
	FlowMeter:           {{pump.Instrument, 1}},
	Transmitter:         {{pump.Instrument, 1}},
	IndexMoved:          {{pump.Instrument, 1}},
}

// Suspects reports whether any cause can point at c.
func Suspects(c pump.Component) bool {
	for _, parts := range partsOf {
		for _, p := range parts {
			if p.component == c {
				return true
			}
		}
	}
	return false
}

// Parts are the findings behind a ranking, the most probable first, those
// under one in twenty left out. visit is whether a visit is advised.
func (r *Ranking) Parts(visit bool) []pump.Finding {
	var list []pump.Finding
	for _, c := range r.Causes {
		for _, part := range partsOf[c.Cause] {
			at := pump.Position{Cylinder: c.Cylinder}
			switch part.component {
			case pump.SuctionValve:
				at.Side = pump.Suction
			case pump.DischargeValve:
				at.Side = pump.Discharge
			}
			if p := c.Probability * part.share; p >= 0.05 {
				list = append(list, pump.Finding{Component: part.component, Position: at, Probability: quantity.Ratio(p), Visit: visit})
			}
		}
	}
	slices.SortStableFunc(list, func(a, b pump.Finding) int {
		switch {
		case a.Probability > b.Probability:
			return -1
		case a.Probability < b.Probability:
			return 1
		}
		return 0
	})
	return list
}
