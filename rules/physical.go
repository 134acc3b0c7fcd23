package rules

import (
	"pumpside/drivers"
	"pumpside/drivers/quantity"
	"pumpside/rules/alarm"
	"pumpside/rules/hydraulics"
)

// impossibleFrom is the volumetric efficiency from which meter or geometry are
// wrong: no pump has more than 1, and meter and speed may each be off by a few
// per cent (common practice, no source).
const impossibleFrom = 1.05

// judgeImpossible holds while more flows than the plungers sweep.
func judgeImpossible(set *Settings, s *State, _ int) alarm.Condition {
	flow, ok := s.ownFlow(set)
	if running, since := s.running(); !ok || running != alarm.Yes || since < calmFor {
		return alarm.Condition{}
	}
	rpm, _ := s.steadySpeed(set)
	share, ok := hydraulics.VolumetricEfficiency(quantity.CubicMetersPerSecond(flow), hydraulics.TheoreticalFlow(set.Geometry, quantity.RevolutionsPerMinute(rpm)))
	if !ok {
		return alarm.Condition{}
	}
	return withValue(alarm.Judged(alarm.KnownBool(share > impossibleFrom)), float64(share), impossibleFrom)
}

// judgeMargin holds while the suction has less than the pump requires.
func judgeMargin(set *Settings, s *State, _ int) alarm.Condition {
	margin := s.suctionMargin(set)
	if !margin.Known {
		return alarm.Condition{}
	}
	return withValue(alarm.Judged(alarm.KnownBool(margin.Value < 0)), margin.Value, 0)
}

// tellsMargin is whether the suction margin can be told.
func tellsMargin(set *Settings) bool {
	return set.observes() && set.Suction.Required > 0 && set.has(drivers.SuctionPressure) && set.has(drivers.GlycolTemperature)
}
