package alarm_test

import (
	"encoding/json"
	"fmt"
	"slices"
	"testing"
	"time"

	"pumpside/drivers"
	"pumpside/rules/alarm"
)

// A wait is a page of a board of one alarm, a minute a step, with what was
// escalated and when.
type wait struct {
	t     *testing.T
	defs  []alarm.Definition
	board alarm.Memory
	at    drivers.Instant
	holds alarm.Known
	far   bool // beyond the worse limit
	logic alarm.Logic
	told  []string
}

func newWait(t *testing.T, d alarm.Definition) *wait {
	t.Helper()
	d.Name, d.Text, d.WorsePriority, d.OnDelay, d.OffDelay = "no_flow", "no_flow", d.Priority, 0, 0
	w := &wait{t: t, defs: []alarm.Definition{d}, at: at(time.Hour), holds: alarm.Yes}
	w.board.Fit(w.defs)
	w.step(nil)
	return w
}

func (w *wait) step(do *drivers.Command) {
	now := w.board.Clock.Tick(w.at)
	now.Logic = w.logic
	c := alarm.Judged(w.holds)
	c.Worse = w.far
	out := w.board.Step(w.defs, &now, []alarm.Condition{c}, nil)
	if do != nil {
		do.Alarm, do.User = "no_flow", "m.example"
		out = w.board.Do(w.defs, &now, do, out)
	}
	for _, e := range out {
		if e.Kind != alarm.Escalated {
			continue
		}
		w.told = append(w.told, fmt.Sprintf("level %d after %v", e.Escalation, e.Unanswered))
		if e.Notify != alarm.Now || e.State != alarm.Unacknowledged && e.State != alarm.LatchedUnacknowledged {
			w.t.Errorf("an escalation that calls %v in state %v", e.Notify, e.State)
		}
	}
}

func (w *wait) pass(d time.Duration) {
	for range int(d / time.Minute) {
		w.at.SinceBoot, w.at.Wall = w.at.SinceBoot+time.Minute, w.at.Wall.Add(time.Minute)
		w.step(nil)
	}
}

func (w *wait) restart(away time.Duration, synchronised bool) {
	text, err := json.Marshal(&w.board)
	if err != nil {
		w.t.Fatal(err)
	}
	w.board = alarm.Memory{}
	if err := json.Unmarshal(text, &w.board); err != nil {
		w.t.Fatal(err)
	}
	w.board.Fit(w.defs)
	w.at.Boot, w.at.SinceBoot, w.at.Wall, w.at.Synchronized = "boot-2", time.Minute, w.at.Wall.Add(away), synchronised
	w.step(nil)
}

func TestEscalation(t *testing.T) {
	page := alarm.Definition{Class: alarm.Alarm, Priority: alarm.High, Responder: alarm.ControlRoom, Notify: alarm.Now, TimeToRespond: time.Hour}.Escalated(10 * time.Minute)
	latching := page
	latching.Latching = true
	tests := []struct {
		name string
		d    alarm.Definition
		then func(w *wait)
		want []string
	}{
		{"nobody acknowledges: once at each level", page, func(w *wait) { w.pass(3 * time.Hour) }, []string{"level 1 after 10m0s", "level 2 after 20m0s"}},
		{"acknowledged in time", page, func(w *wait) {
			w.pass(9 * time.Minute)
			w.step(&drivers.Command{Verb: drivers.Acknowledge})
			w.pass(time.Hour)
		}, nil},
		{"acknowledged after the first", page, func(w *wait) {
			w.pass(11 * time.Minute)
			w.step(&drivers.Command{Verb: drivers.Acknowledge})
			w.pass(time.Hour)
		}, []string{"level 1 after 10m0s"}},
		{"gone in time", page, func(w *wait) { w.pass(9 * time.Minute); w.holds = alarm.No; w.pass(time.Hour) }, nil},
		{"gone and come again: another wait", page, func(w *wait) {
			w.pass(9 * time.Minute)
			w.holds = alarm.No
			w.pass(time.Minute)
			w.holds = alarm.Yes
			w.pass(12 * time.Minute)
		}, []string{"level 1 after 10m0s"}},
		{"latched and gone: still unseen", latching, func(w *wait) { w.pass(time.Minute); w.holds = alarm.No; w.pass(15 * time.Minute) }, []string{"level 1 after 10m0s"}},
		{"nobody can judge it any more: still unseen", page, func(w *wait) { w.pass(time.Minute); w.holds = alarm.Unknown; w.pass(15 * time.Minute) }, []string{"level 1 after 10m0s"}},
		{"shelved meanwhile: a wait of its own afterwards", page, func(w *wait) {
			w.pass(5 * time.Minute)
			w.step(&drivers.Command{Verb: drivers.Shelve, For: time.Hour})
			w.pass(time.Hour + 9*time.Minute)
			w.told = append(w.told, "unshelved 9 min ago")
			w.pass(2 * time.Minute)
		}, []string{"unshelved 9 min ago", "level 1 after 10m0s"}},
		{"restart in between, clock right: the time away counts", page, func(w *wait) { w.pass(5 * time.Minute); w.restart(7*time.Minute, true) }, []string{"level 1 after 12m0s"}},
		{"away for longer than both levels: one message of the second", page, func(w *wait) { w.restart(2*time.Hour, true); w.pass(time.Hour) }, []string{"level 2 after 2h0m0s"}},
		{"restart in between, clock not right: only what is known counts", page, func(w *wait) { w.pass(5 * time.Minute); w.restart(7*time.Minute, false); w.pass(6 * time.Minute) }, []string{"level 1 after 10m0s"}},
		{"escalated before the restart: not again", page, func(w *wait) { w.pass(11 * time.Minute); w.restart(time.Minute, true); w.pass(7 * time.Minute) }, []string{"level 1 after 10m0s"}},
		{"half the time to respond at most", alarm.Definition{Class: alarm.Alarm, Responder: alarm.ControlRoom, Notify: alarm.Now, TimeToRespond: 10 * time.Minute}.Escalated(0), func(w *wait) { w.pass(time.Hour) }, []string{"level 1 after 5m0s", "level 2 after 10m0s"}},
		{"the default", alarm.Definition{Class: alarm.Alarm, Responder: alarm.ControlRoom, Notify: alarm.Now, TimeToRespond: 8 * time.Hour}.Escalated(0), func(w *wait) { w.pass(time.Hour) }, []string{"level 1 after 15m0s", "level 2 after 30m0s"}},
		{"worse and better in turn, and nobody acknowledges: no more time by it", page, func(w *wait) {
			for range 6 {
				w.far = !w.far
				w.pass(4 * time.Minute)
			}
		}, []string{"level 1 after 10m0s", "level 2 after 20m0s"}},
		{"what waits for the working day", alarm.Definition{Class: alarm.Alarm, Responder: alarm.ControlRoom, Notify: alarm.NextWorkingDay, TimeToRespond: time.Hour}.Escalated(0), func(w *wait) { w.pass(24 * time.Hour) }, nil},
		{"an advisory", alarm.Definition{Class: alarm.Advisory, Responder: alarm.Mechanic, Notify: alarm.Now, TimeToRespond: time.Hour}.Escalated(0), func(w *wait) { w.pass(24 * time.Hour) }, nil},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			w := newWait(t, tt.d)
			tt.then(w)
			if !slices.Equal(w.told, tt.want) {
				t.Errorf("told %v, want %v", w.told, tt.want)
			}
		})
	}
}

// In a flood the summary calls. What was announced before it, and what is of
// high priority, is escalated like any other; the rest is not, and no
// escalation is held back.
func TestEscalationInAFlood(t *testing.T) {
	var defs []alarm.Definition
	var conditions []alarm.Condition
	for i := range 9 {
		p := alarm.Medium
		if i == 8 {
			p = alarm.High
		}
		d := alarm.Definition{Class: alarm.Alarm, Priority: p, WorsePriority: p, Responder: alarm.ControlRoom, Notify: alarm.Now, TimeToRespond: time.Hour}.Escalated(10 * time.Minute)
		d.Name, d.Text = fmt.Sprint("a", i), "no_flow"
		defs, conditions = append(defs, d), append(conditions, alarm.Judged(alarm.Yes))
	}
	var board alarm.Memory
	board.Fit(defs)
	var got []string
	for minute := range 90 {
		now := board.Clock.Tick(at(time.Duration(minute) * time.Minute))
		for _, e := range board.Step(defs, &now, conditions, nil) {
			if e.Kind == alarm.Escalated && e.Escalation == 1 {
				got = append(got, e.Alarm)
			}
		}
	}
	// After an hour the flood is over, and who is left waits like any other.
	if want := []string{"a0", "a1", "a2", "a3", "a4", "a5", "a8", "a6", "a7"}; !slices.Equal(got, want) {
		t.Errorf("escalated %v, want %v", got, want)
	}
}
