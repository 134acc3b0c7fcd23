package configs

import (
	"testing"
	"time"

	"pumpside/rules/alarm"
)

func TestRoute(t *testing.T) {
	c := Calls{
		EscalateTo: []string{"duty manager", "operations manager"}, Quiet: Hours{22 * time.Hour, 6 * time.Hour},
		Rota: []Rota{
			{Responder: alarm.Mechanic, Days: []time.Weekday{time.Friday}, Hours: Hours{18 * time.Hour, 6 * time.Hour}, Call: "weekend mechanic"},
			{Responder: alarm.Mechanic, Call: "workshop"},
			{Responder: alarm.ControlRoom, Hours: Hours{6 * time.Hour, 18 * time.Hour}, Call: "day desk"},
		},
	}
	friday := time.Date(2026, 3, 6, 0, 0, 0, 0, time.UTC)
	call := func(who alarm.Responder, escalate time.Duration) *alarm.Event {
		return &alarm.Event{Notify: alarm.Now, Responder: who, EscalateIn: escalate}
	}
	escalation := func(level int, again time.Duration) *alarm.Event {
		return &alarm.Event{Kind: alarm.Escalated, Notify: alarm.Now, Responder: alarm.Mechanic, Escalation: level, EscalateIn: again}
	}
	tests := []struct {
		name  string
		event *alarm.Event
		at    time.Time
		want  alarm.Route
	}{
		{"by day", call(alarm.Mechanic, 15*time.Minute), friday.Add(12 * time.Hour), alarm.Route{Call: "workshop", EscalateTo: "duty manager", EscalateAfter: 15 * time.Minute}},
		{"on friday evening", call(alarm.Mechanic, 15*time.Minute), friday.Add(19 * time.Hour), alarm.Route{Call: "weekend mechanic", EscalateTo: "duty manager", EscalateAfter: 15 * time.Minute}},
		{"in the night after it", call(alarm.Mechanic, 15*time.Minute), friday.Add(29 * time.Hour), alarm.Route{Call: "weekend mechanic", Quiet: true, EscalateTo: "duty manager", EscalateAfter: 15 * time.Minute}},
		{"in the night before it", call(alarm.Mechanic, 15*time.Minute), friday.Add(5 * time.Hour), alarm.Route{Call: "workshop", Quiet: true, EscalateTo: "duty manager", EscalateAfter: 15 * time.Minute}},
		{"little time", call(alarm.ControlRoom, 5*time.Minute), friday.Add(12 * time.Hour), alarm.Route{Call: "day desk", EscalateTo: "duty manager", EscalateAfter: 5 * time.Minute}},
		{"nobody on the rota", call(alarm.ControlRoom, 15*time.Minute), friday.Add(18 * time.Hour), alarm.Route{EscalateTo: "duty manager", EscalateAfter: 15 * time.Minute}},
		{"nobody has answered", escalation(1, 15*time.Minute), friday.Add(12 * time.Hour), alarm.Route{Call: "duty manager", EscalateTo: "operations manager", EscalateAfter: 15 * time.Minute}},
		{"nor at the second call", escalation(2, 0), friday.Add(12 * time.Hour), alarm.Route{Call: "operations manager"}},
		{"a third, of two who are named", escalation(3, 0), friday.Add(12 * time.Hour), alarm.Route{Call: "operations manager"}},
		{"what waits for the day has no route", &alarm.Event{Notify: alarm.NextWorkingDay, Responder: alarm.Mechanic}, friday, alarm.Route{}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			if got := c.Route(tt.event, tt.at); got != tt.want {
				t.Errorf("route %+v, want %+v", got, tt.want)
			}
		})
	}
}

func TestEscalationWithNobodyNamedGoesToTheRota(t *testing.T) {
	c := Calls{Rota: []Rota{{Responder: alarm.Mechanic, Call: "workshop"}}}
	e := &alarm.Event{Kind: alarm.Escalated, Notify: alarm.Now, Responder: alarm.Mechanic, Escalation: 1, EscalateIn: time.Minute}
	if got, want := c.Route(e, time.Now()), (alarm.Route{Call: "workshop", EscalateAfter: time.Minute}); got != want {
		t.Errorf("route %+v, want %+v", got, want)
	}
}
