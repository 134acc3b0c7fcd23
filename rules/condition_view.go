package rules

import (
	"slices"
	"time"

	"pumpside/drivers"
	"pumpside/rules/alarm"
	"pumpside/rules/condition"
	"pumpside/rules/diagnosis"
	"pumpside/rules/hydraulics"
	"pumpside/rules/pump"

	"pumpside/drivers/quantity"
)

// A ConditionView is what is concluded of a pump's wear.
type ConditionView struct {
	// Learned is whether there is a baseline where the pump works now; it is
	// learned, not confirmed healthy. Blocks is the minutes it was learned from.
	Learned bool `json:"learned"`
	Blocks  int  `json:"blocks"`
	// Changed lists the indicators that have moved away from it.
	Changed []string        `json:"changed,omitempty"`
	Since   drivers.Instant `json:"since,omitzero"` // the earliest of them
	Visit   bool            `json:"visit"`          // it has lasted, or come back, long enough to go there
	// Causes are the likely ones while anything has changed, most probable
	// first; OneHead is the probability that one head loses flow in half its
	// stroke.
	Causes  []alarm.Cause `json:"causes,omitempty"`
	OneHead float64       `json:"one_head"`
	// Leak is its size as a share of one head's flow by all evidence, and by
	// pressure orders and flow alone.
	Leak       diagnosis.Size `json:"leak"`
	FromOrders diagnosis.Size `json:"leak_from_orders"`
	FromFlow   diagnosis.Size `json:"leak_from_flow"`
	Parts      []pump.Finding `json:"parts,omitempty"`
	// NotNamed says why side and cylinder cannot be told; "" when they can.
	NotNamed string        `json:"not_named,omitempty"`
	Orders   []OrderView   `json:"orders,omitempty"`   // of the discharge pressure
	Waveform *WaveformView `json:"waveform,omitempty"` // of the discharge pressure; nil while no orders are known

	// Trends are where indicators lead, over days of running.
	Trends []IndicatorTrend `json:"trends,omitempty"`

	Efficiency Number `json:"volumetric_efficiency"` // share
	Power      Number `json:"hydraulic_power"`       // W
	// WireToLiquid is the hydraulic power by the motor's, as its drive tells it:
	// share.
	WireToLiquid Number `json:"wire_to_liquid_efficiency"`
	// SuctionMargin is the net positive suction head available less required,
	// in metres of glycol: the pump cavitates below 0.
	SuctionMargin Number `json:"npsh_margin"`
}

// A Number is a value that may not be known.
type Number struct {
	Known bool    `json:"known"`
	Value float64 `json:"value"`
}

// ordersLast is how long an order is shown after it was measured.
const ordersLast = 15 * time.Minute

func (s *State) conditionView(set *Settings) *ConditionView {
	if !set.observes() || !s.observer.ready {
		return nil
	}
	o := &s.observer
	v := &ConditionView{Visit: o.visit && o.changed, Efficiency: s.volumetricEfficiency(set), Power: s.hydraulicPower(set), WireToLiquid: s.wireToLiquid(set), SuctionMargin: s.suctionMargin(set)}
	for i := range o.changes {
		c := &o.changes[i]
		if v.Learned = v.Learned || c.Learned; c.Learned {
			v.Blocks = max(v.Blocks, c.Blocks)
		}
		if c.Raised {
			v.Changed = append(v.Changed, string(c.Indicator))
			if v.Since.IsZero() || c.Since.Before(v.Since) {
				v.Since = c.Since
			}
		}
	}
	if r := o.ranking; r != nil {
		v.Causes, v.OneHead, v.NotNamed = o.causes(), r.OneHead, r.Why
		v.Leak, v.FromOrders, v.FromFlow = r.Leak, r.FromOrders, r.FromFlow
		v.Parts = r.Parts(v.Visit)
	}
	v.Orders, v.Waveform = s.orderViews(set)
	v.Trends = slices.Clone(o.trends)
	return v
}

// ownFlow is what this pump delivers, by a rolling median; not known while others
// deliver through the same meter.
func (s *State) ownFlow(set *Settings) (cubicMetersPerSecond float64, ok bool) {
	if s.notOwn(set, drivers.GlycolFlow) {
		return 0, false
	}
	return s.settled(set, drivers.GlycolFlow)
}

// volumetricEfficiency is the volumetric efficiency of the moment, on rolling medians.
func (s *State) volumetricEfficiency(set *Settings) Number {
	flow, ok := s.ownFlow(set)
	if running, since := s.running(); !ok || running != alarm.Yes || since < calmFor {
		return Number{}
	}
	rpm, _ := s.steadySpeed(set)
	seen, ok := condition.FromFlow(set.Geometry, quantity.CubicMetersPerSecond(flow), quantity.RevolutionsPerMinute(rpm))
	return Number{ok, real(seen.Value)}
}

// hydraulicPower is what the glycol gains.
func (s *State) hydraulicPower(set *Settings) Number {
	flow, ok := s.ownFlow(set)
	p, known := s.settled(set, drivers.DischargePressure)
	suction, _ := s.settled(set, drivers.SuctionPressure)
	if !ok || !known {
		return Number{}
	}
	return Number{true, float64(hydraulics.HydraulicPower(quantity.CubicMetersPerSecond(flow), quantity.Pascals(p-suction)))}
}

// wireToLiquid is known while the pump runs steadily.
func (s *State) wireToLiquid(set *Settings) Number {
	hydraulic := s.hydraulicPower(set)
	electrical, known := s.settled(set, drivers.MotorPower)
	if running, since := s.running(); !hydraulic.Known || !known || running != alarm.Yes || since < calmFor {
		return Number{}
	}
	share, ok := hydraulics.WireToLiquidEfficiency(quantity.Watts(hydraulic.Value), quantity.Watts(electrical))
	return Number{ok, float64(share)}
}
