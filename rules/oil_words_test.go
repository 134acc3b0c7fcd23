package rules_test

import (
	"testing"
	"time"

	"pumpside/rules"
	"pumpside/rules/alarm"
	"pumpside/rules/service"
)

// A task named for the first oil tells of it only while that oil is in, in the
// event and wherever the alarm is shown.
func TestALaterOilChangeIsNotToldAsTheFirst(t *testing.T) {
	for _, tt := range []struct {
		name, task string
		first, all time.Duration
		aged       bool
		want       string
	}{
		{"the first oil", alarm.RunInOil, 500 * time.Hour, 2000 * time.Hour, false, "run_in_oil_due"},
		{"a later oil under the same name", alarm.RunInOil, 100 * time.Hour, 500 * time.Hour, true, "service_due"},
		{"the first oil of a task with another name", "oil", 500 * time.Hour, 2000 * time.Hour, false, "run_in_oil_due"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			r := newRig(t, func(s *rules.Settings) {
				nearDue(s)
				task := &s.Tasks[0]
				task.Name, task.Kind, task.FirstRunTime, task.RunTime, task.Aged = tt.task, service.Oil, tt.first, tt.all, tt.aged
			})
			told := ""
			for _, e := range r.pass(20 * time.Second) {
				if e.Alarm == tt.task+"_due" {
					told = e.Text
				}
			}
			shown := ""
			for _, v := range r.state.Snapshot(r.set).Alarms {
				if v.Name == tt.task+"_due" {
					shown = v.Text
				}
			}
			if told != tt.want || shown != tt.want {
				t.Errorf("told as %q, shown as %q, want %q", told, shown, tt.want)
			}
		})
	}
}
