package main

import (
	"bytes"
	"context"
	"strings"
	"testing"
	"time"

	"pumpside/agent/engine"
	"pumpside/drivers"
	"pumpside/rules/alarm"
)

// An alarm that is over says so first: since when, and who has seen it. Of the
// times it was there the newest counts.
func TestShowSaysFirstThatAnAlarmIsOver(t *testing.T) {
	g := quietGateway(t)
	began := time.Date(2026, 3, 1, 2, 0, 0, 0, time.UTC)
	seq := uint64(0)
	happens := func(kind alarm.Kind, occurrence uint64, after time.Duration, user string) *alarm.Event {
		seq++
		return &alarm.Event{
			Seq: seq, Kind: kind, At: drivers.Instant{Wall: began.Add(after), Boot: "a", SinceBoot: after, Synchronized: true},
			Alarm: "no_flow", Text: "no_flow", Occurrence: occurrence, User: user, Priority: alarm.High, Quality: drivers.Good,
		}
	}
	cleared := happens(alarm.Cleared, 2, 62*time.Minute, "")
	cleared.Duration = 2 * time.Minute
	err := g.without(func(desk) error {
		g.pumps[0].Keeper.Keep(context.Background(), engine.Record{Subject: "gp-1", Events: []*alarm.Event{
			happens(alarm.Raised, 1, 0, ""), happens(alarm.AcknowledgedBy, 1, time.Minute, "e.early"), happens(alarm.Cleared, 1, 2*time.Minute, ""),
			happens(alarm.Raised, 2, time.Hour, ""), happens(alarm.AcknowledgedBy, 2, 61*time.Minute, "r.night"), cleared,
		}})
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	tests := []struct {
		name       string
		state      alarm.State
		occurrence uint64
		want       string
	}{
		{"it stands", alarm.Acknowledged, 2, ""},
		{"cleared and acknowledged", alarm.Normal, 2, "OVER: cleared 2026-03-01 08:32:00 IST after 2 min; acknowledged by r.night 2026-03-01 08:31:00 IST.\n"},
		{"cleared, and nobody has seen it", alarm.ReturnedUnacknowledged, 2, "OVER: cleared 2026-03-01 08:32:00 IST after 2 min; nobody has acknowledged it.\n"},
		{"latched", alarm.LatchedAcknowledged, 2, "OVER: cleared 2026-03-01 08:32:00 IST after 2 min; acknowledged by r.night 2026-03-01 08:31:00 IST; it is held until somebody resets it.\n"},
		{"the journal has it no more", alarm.Normal, 3, "OVER: cleared, not known when; not known who acknowledged it.\n"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			v := alarm.View{Name: "no_flow", State: tt.state, Occurrence: tt.occurrence}
			over, err := g.over(context.Background(), alarmName{"gp-1", "no_flow"}, &v)
			if err != nil {
				t.Fatal(err)
			}
			var text bytes.Buffer
			told := alert{Pump: "gp-1", View: v, Over: over, Message: alarm.Message{Headline: "no glycol flow"}}
			told.print(&text, time.FixedZone("IST", 19800))
			first, rest, found := strings.Cut(text.String(), "As it was told:\n")
			if !found {
				first, rest = "", text.String()
			}
			if first != tt.want || !strings.HasPrefix(rest, "no glycol flow\n") {
				t.Errorf("shown %q, want %q before the alert", text.String(), tt.want)
			}
		})
	}
}
