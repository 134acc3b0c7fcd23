package rules_test

import (
	"slices"
	"testing"
	"time"

	"pumpside/drivers"
	"pumpside/rules"
)

// What the header shows is learned of a pump, and judged, only while it runs
// alone, and no efficiency is shown of it: otherwise it is that of two pumps.
func TestNothingIsLearnedFromASharedSignalWhileAnotherPumpRuns(t *testing.T) {
	r := newRig(t, func(set *rules.Settings) {
		watchedPump(set)
		set.Signals = slices.DeleteFunc(set.Signals, func(one rules.SignalSettings) bool { return one.Signal == drivers.MotorTorque }) // the drive's own
		for i := range set.Signals {
			if s := set.Signals[i].Signal; s == drivers.GlycolFlow || s == drivers.DischargePressure || s == drivers.SuctionPressure {
				set.Signals[i].Shared = true
			}
		}
		set.Standing.InGroup = true
		set.Counters.WitnessFlow = 0
	})
	tests := []struct {
		name  string
		group drivers.Group
		own   bool
	}{
		{"another runs", drivers.Group{Running: 1, Standby: drivers.StandbyRunning}, false},
		{"nobody knows whether another runs", drivers.Group{Unseen: 1, Standby: drivers.StandbyUnknown}, false},
		{"it runs alone", drivers.Group{Standby: drivers.StandbyAvailable}, true},
	}
	for _, tt := range tests {
		g := tt.group
		g.Told, g.Others, g.Required = true, 1, 1
		r.told(g, 40*time.Minute)
		v := r.state.Snapshot(r.set).Condition
		if v.Learned != tt.own || v.Blocks > 0 != tt.own || v.Efficiency.Known != tt.own || v.Power.Known != tt.own || v.WireToLiquid.Known != tt.own {
			t.Errorf("%s: learned %v from %d blocks, efficiency %+v, power %+v, wire to liquid %+v; want it known: %v", tt.name, v.Learned, v.Blocks, v.Efficiency, v.Power, v.WireToLiquid, tt.own)
		}
	}
}
