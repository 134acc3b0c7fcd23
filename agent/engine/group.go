package engine

import (
	"time"

	"pumpside/rules"
	"pumpside/rules/site"
)

// Part is what a pump's snapshot tells its group.
func Part(s *rules.Snapshot) site.Pump { return part(&s.Operation, s.Totals.RunSeconds) }

func part(o *rules.Operation, run float64) site.Pump {
	return site.Pump{
		Running: o.Running, Delivering: o.Delivering, Available: o.Available, Asked: o.Asked, Power: o.Power, Gas: o.Gas,
		RunTime: time.Duration(run * float64(time.Second)),
		Flow:    o.Flow, FlowKnown: o.FlowKnown, FlowShared: o.FlowShared,
	}
}

// Parts gives the pumps of every group, in the order of the settings; snapshot
// finds one by its pump's id.
func Parts(set *site.Settings, snapshot func(pump string) *rules.Snapshot) [][]site.Pump {
	groups := make([][]site.Pump, len(set.Groups))
	for i, g := range set.Groups {
		for _, id := range g.Pumps {
			groups[i] = append(groups[i], Part(snapshot(id)))
		}
	}
	return groups
}
