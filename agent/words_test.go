package main

import (
	"testing"
	"time"
	"unicode/utf8"

	"pumpside/configs"
	"pumpside/drivers"
	"pumpside/rules/alarm"
)

// The first line of a call that speaks for more than itself, with the names of
// the reference configuration: state, consequence and time within a phone's first
// 120 characters.
func TestOneCallNamesEverythingItSpeaksFor(t *testing.T) {
	config, err := configs.Load("reference.yaml", []byte(configs.Reference))
	if err != nil {
		t.Fatal(err)
	}
	w := wordsOf(config)
	lost := alarm.Event{
		Kind: alarm.Raised, Alarm: "north_circulation_lost", Text: "circulation_lost", Group: "north", Class: alarm.Alarm, Priority: alarm.High, Notify: alarm.Now,
		State: alarm.Unacknowledged, Duration: time.Minute, Standby: "available", GasFlowing: alarm.Yes, TimeToRespond: 30 * time.Minute, Quality: drivers.Good,
	}
	dry, unprimed := lost, lost
	dry.Alarms = []string{"gp-1/no_flow"}
	unprimed.Alarms, unprimed.TimeToRespond = []string{"gp-2/failed_to_prime"}, 5*time.Minute
	escalated := unprimed
	escalated.Kind, escalated.Escalation, escalated.Unanswered, escalated.Duration = alarm.Escalated, 1, 150*time.Second, 210*time.Second
	level := alarm.Event{
		Kind: alarm.Raised, Alarm: "glycol_level_low", Text: "glycol_level_low", Class: alarm.Alarm, Priority: alarm.Medium, Notify: alarm.Now, State: alarm.Unacknowledged,
		Signal: drivers.GlycolLevel, Value: &alarm.Quantity{Value: 0.2, Dimension: drivers.GlycolLevel.Info().Dimension}, PumpRunning: alarm.Yes,
		TimeToRespond: time.Hour, Quality: drivers.Good,
	}
	own := level
	own.Alarm, own.Text, own.Signal, own.Value = "no_flow", "no_flow", drivers.GlycolFlow, nil
	tests := []struct {
		name, pump string
		e          alarm.Event
		want       string
	}{
		{"nothing runs", "", lost, "[HIGH] Ridge Station 7, north circulation: glycol circulation LOST 1 min. Standby available, gas flowing. Act in 30 min."},
		{"a pump runs without flow", "", dry, "[HIGH] Ridge Station 7: circulation LOST 1 min. STOP P-7101A: NO FLOW. Standby available, gas flowing. Act in 30 min."},
		{"a pump does not prime", "", unprimed, "[HIGH] Ridge Station 7: circulation LOST 1 min. STOP P-7101B: NOT PRIMED. Standby available, gas flowing. Act in 5 min."},
		{"nobody answered", "", escalated, "[HIGH, ESCALATION 1] Ridge Station 7: circulation LOST. STOP P-7101B: NOT PRIMED. Standby OK, gas on. Act in 2 min."},
		{"a level that both pumps have", "gp-1", level, "[MEDIUM] Ridge Station 7, P-7101A and P-7101B: glycol tank LOW: 20 %. Standby unknown, gas unknown. Act in 1 h."},
		{"what is the pump's own names the pump", "gp-1", own, "[MEDIUM] Ridge Station 7, P-7101A: no glycol flow. Pump RUNNING, standby unknown, gas unknown. Act in 1 h."},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			got := w.render(tt.pump, &tt.e).Headline
			if got != tt.want || utf8.RuneCountInString(got) > alarm.HeadlineMost {
				t.Errorf("%d characters: %s", utf8.RuneCountInString(got), got)
			}
		})
	}
}
