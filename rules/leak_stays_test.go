package rules_test

import (
	"strings"
	"testing"
	"time"

	"pumpside/simulator"
)

// TestALeakSeenForHoursIsStillALeak lets valves leak with shaft index, flow
// meter and fast windows each minute. The longer a leak stands the better it is
// measured, and the less any model fits to within what is measured: the first
// pump's line answers the fifth order seven times as much as a ramp shows.
func TestALeakSeenForHoursIsStillALeak(t *testing.T) {
	if testing.Short() {
		t.Skip("plays nine hours of pressure")
	}
	windows := func(each time.Duration) sampling {
		return sampling{poll: 20 * time.Millisecond, jitter: 0.2, half: 3 * time.Millisecond, index: true, meter: true, fastFor: each, fastEach: time.Minute}
	}
	for _, tt := range []struct {
		name  string
		site  simulator.Settings
		fast  time.Duration // of a minute
		valve simulator.Action
		size  float64
		stays time.Duration
	}{
		{"20 % of a discharge valve, for 3 h", site(3, 300), 9 * time.Second, simulator.DischargeValveLeak, 0.2, 3 * time.Hour},
		{"20 % of a discharge valve, the line known", site(3, 300), 20 * time.Second, simulator.DischargeValveLeak, 0.2, 40 * time.Minute},
		{"20 % of a suction valve", variedSite(21), 9 * time.Second, simulator.SuctionValveLeak, 0.2, 40 * time.Minute},
		{"10 % of a discharge valve", variedSite(22), 9 * time.Second, simulator.DischargeValveLeak, 0.1, 40 * time.Minute},
		{"10 % of a suction valve", variedSite(23), 9 * time.Second, simulator.SuctionValveLeak, 0.1, 40 * time.Minute},
		{"5 % of a discharge valve", variedSite(24), 9 * time.Second, simulator.DischargeValveLeak, 0.05, 40 * time.Minute},
		{"5 % of a suction valve", variedSite(25), 9 * time.Second, simulator.SuctionValveLeak, 0.05, 40 * time.Minute},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			const begins = 22 * time.Minute
			tt.site.Running = true
			b := newBench(t, tt.site, windows(tt.fast))
			b.event(simulator.Event{At: 40 * time.Second, Do: simulator.Stop}, simulator.Event{At: 70 * time.Second, Do: simulator.Start},
				simulator.Event{At: begins, Do: tt.valve, Cylinder: 1, Size: tt.size})
			for seen := 10 * time.Minute; seen <= tt.stays; seen += 10 * time.Minute {
				b.run(begins+seen, nil)
				v := b.state.Snapshot(b.set).Condition
				if len(v.Causes) == 0 || !strings.HasPrefix(v.Causes[0].Cause, "loss_in_") || v.OneHead < 0.5 {
					t.Errorf("after %v: one head %.3g, causes %v", seen, v.OneHead, v.Causes)
				}
			}
		})
	}
}
