package engine

import (
	"time"

	"pumpside/rules"
	"pumpside/rules/alarm"
	"pumpside/rules/site"
)

// Part is what a pump's snapshot tells its group.
func Part(s *rules.Snapshot) site.Pump {
	return PartOf(&s.Operation, time.Duration(s.Totals.RunSeconds*float64(time.Second)), s.Joints)
}

// PartOf is Part for how a pump stands, how long it has run in all and what is
// to be known of its alarms.
func PartOf(o *rules.Operation, run time.Duration, joints []alarm.Joint) site.Pump {
	return site.Pump{
		Running: o.Running, Delivering: o.Delivering, Available: o.Available, Asked: o.Asked, Power: o.Power, Gas: o.Gas, GasMetered: o.GasMetered,
		GroupAsked: o.GroupAsked, Backwards: o.Backwards, Faulted: o.Mode == rules.Faulted, RunTime: run,
		Unseen: o.Running == alarm.Unknown && o.Delivering == alarm.Unknown && o.Wanted != alarm.No && o.Power != alarm.No,
		Flow:   o.Flow, FlowKnown: o.FlowKnown, FlowShared: o.FlowShared,
		Stream: site.Stream{Known: o.GasKnown, Rate: o.GasRate, Pressure: o.GasPressure, Temperature: o.GasTemperature},
		Joints: joints,
	}
}

// Parts gives the pumps of every group, in the order of the settings; snapshot
// finds one by its pump's id.
func Parts(set *site.Settings, snapshot func(pump string) *rules.Snapshot) [][]site.Pump {
	groups := make([][]site.Pump, len(set.Groups))
	for i, g := range set.Groups {
		groups[i] = parts(g.Pumps, snapshot)
	}
	return groups
}

// Alone gives the pumps that are in no group, in the order of the settings.
func Alone(set *site.Settings, snapshot func(pump string) *rules.Snapshot) []site.Pump {
	return parts(set.Alone, snapshot)
}

func parts(ids []string, snapshot func(pump string) *rules.Snapshot) (list []site.Pump) {
	for _, id := range ids {
		list = append(list, Part(snapshot(id)))
	}
	return list
}
