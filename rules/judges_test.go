package rules

import (
	"testing"

	"pumpside/rules/alarm"
)

// An alarm nobody judges can never be raised, and must not be listed.
func TestEveryStandingAlarmOfAPumpIsJudged(t *testing.T) {
	rows := map[string]bool{}
	for _, d := range alarm.PumpAlarms(alarm.PumpSettings{}) {
		rows[d.Name] = true
		if _, ok := standing[d.Name]; !ok {
			t.Errorf("%s has a text and no judge", d.Name)
		}
	}
	for name := range standing {
		if !rows[name] {
			t.Errorf("%s has a judge and is no alarm", name)
		}
	}
}
