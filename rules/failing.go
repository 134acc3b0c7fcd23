package rules

import (
	"pumpside/drivers"
	"pumpside/rules/alarm"
)

// judgeFailing: one head loses flow, a large part of the flow is gone, and
// nothing stands behind the pump.
func judgeFailing(set *Settings, s *State, i int) alarm.Condition {
	head, flow := judgeOneHead(set, s, i), judgeEfficiency(set, s, i)
	large := flow.Holds
	if large == alarm.Yes {
		large = alarm.KnownBool(flow.Worse)
	}
	c := withValue(alarm.Judged(every(head.Holds, large, s.bare(set))), flow.Value, flow.Limit*efficiencyWorse/efficiencyLow)
	c.HasValue, c.HasLimit = flow.HasValue, flow.HasLimit
	return c
}

// bare is whether no standby stands behind the pump.
func (s *State) bare(set *Settings) alarm.Known {
	g := s.told()
	switch {
	case !g.Told && !set.Standing.InGroup:
		return alarm.Yes
	case !g.Told, g.Standby == drivers.StandbyUnknown:
		return alarm.Unknown
	}
	return alarm.KnownBool(g.Standby == drivers.StandbyNone || g.Standby == drivers.StandbyNotAvailable)
}

// every is No as soon as one is, and Yes when all are.
func every(list ...alarm.Known) alarm.Known {
	all := alarm.Yes
	for _, k := range list {
		switch {
		case k == alarm.No:
			return alarm.No
		case k == alarm.Unknown:
			all = alarm.Unknown
		}
	}
	return all
}
