package rules_test

import (
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"pumpside/drivers"
	"pumpside/rules"
	"pumpside/rules/alarm"
)

// A cold start gives less flow, which calls nobody until the glycol is warm or
// twenty minutes have passed; glycol that is too cold for the pump is told first.
func TestAColdStartIsHeldUntilTheGlycolIsWarm(t *testing.T) {
	tests := []struct {
		name   string
		glycol float64 // °C at the start
		warm   time.Duration
		within time.Duration
		want   []string
	}{
		{"cold, and it stays so for less than twenty minutes", 15, time.Hour, 19 * time.Minute, nil},
		{"cold for longer", 15, time.Hour, 22 * time.Minute, []string{"glycol_flow_low"}},
		{"warm after six minutes, and still less flow", 15, 6 * time.Minute, 8 * time.Minute, []string{"glycol_flow_low"}},
		{"warm from the start", 60, 0, 4 * time.Minute, []string{"glycol_flow_low"}},
		{"too cold to pump", 5, time.Hour, 4 * time.Minute, []string{"too_cold_to_pump"}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			low := 18.0 / 60e3
			r := newRig(t, func(set *rules.Settings) {
				set.Limits = append(set.Limits, alarm.SignalSettings{Signal: drivers.GlycolFlow, Low: &low, Span: 40.0 / 60e3})
			})
			stand(r)
			r.pass(5 * time.Minute)
			start(r)
			r.values[drivers.GlycolTemperature], r.values[drivers.GlycolFlow] = tt.glycol, 14.0/60e3
			from := len(r.events)
			for at := time.Duration(0); at < tt.within; at += time.Minute {
				if at >= tt.warm {
					r.values[drivers.GlycolTemperature] = 60
				}
				r.pass(time.Minute)
			}
			var calls []string
			for _, e := range r.events[from:] {
				if e.Notify == alarm.Now && e.Kind != alarm.Escalated {
					calls = append(calls, e.Alarm)
				}
			}
			if d := cmp.Diff(tt.want, calls); d != "" {
				t.Errorf("calls (-want +got):\n%s", d)
			}
		})
	}
}
