package rules

import (
	"testing"
	"time"

	"pumpside/drivers"
	"pumpside/rules/alarm"
	"pumpside/rules/condition"
)

// A finding calls at night only with a large loss of efficiency and no standby.
func TestAFindingCallsOnlyWithALargeLossAndNoStandby(t *testing.T) {
	standby := func(by drivers.Standby) drivers.Group {
		return drivers.Group{Told: true, Others: 1, Required: 1, Standby: by}
	}
	tests := []struct {
		name    string
		inGroup bool
		group   drivers.Group
		left    float64       // of the efficiency learned
		stood   time.Duration // since one head lost flow
		want    alarm.Known
	}{
		{"large loss, in no group", false, drivers.Group{}, 0.75, 7 * time.Hour, alarm.Yes},
		{"large loss, the standby cannot start", true, standby(drivers.StandbyNotAvailable), 0.75, 7 * time.Hour, alarm.Yes},
		{"large loss, all pumps are required", true, standby(drivers.StandbyNone), 0.75, 7 * time.Hour, alarm.Yes},
		{"large loss, a standby is ready", true, standby(drivers.StandbyAvailable), 0.75, 7 * time.Hour, alarm.No},
		{"large loss, nobody knows of the standby", true, standby(drivers.StandbyUnknown), 0.75, 7 * time.Hour, alarm.Unknown},
		{"large loss, the group tells nothing", true, drivers.Group{}, 0.75, 7 * time.Hour, alarm.Unknown},
		{"small loss", false, drivers.Group{}, 0.85, 7 * time.Hour, alarm.No},
		{"large loss, not for long enough", false, drivers.Group{}, 0.75, time.Hour, alarm.No},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			set, s := askedState(t, true)
			set.Standing.InGroup = tt.inGroup
			s.group, s.groupAt = tt.group, s.moment.At
			s.observer.oneHead, s.Observed.OneHead.Present, s.Observed.OneHead.Stood = true, true, tt.stood
			s.observer.changes = []condition.Change{{Indicator: condition.VolumetricEfficiency, Learned: true, Raised: true, Baseline: 0.9, Value: complex(0.9*tt.left, 0)}}
			c := judgeFailing(set, s, 0)
			if c.Holds != tt.want {
				t.Errorf("%v, want %v", c.Holds, tt.want)
			}
			if d := alarm.Standing("head_failing"); d.Notify != alarm.Now || d.Class != alarm.Alarm {
				t.Errorf("%+v calls nobody", d)
			}
		})
	}
}
