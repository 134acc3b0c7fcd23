package rules_test

import (
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"pumpside/drivers"
	"pumpside/rules"
	"pumpside/rules/alarm"
	"pumpside/rules/service"
)

// ledger collects the ledger's lines from the events, as the store does.
func ledger(events []alarm.Event) (lines []drivers.ServiceRecord) {
	for _, e := range events {
		if e.Service != nil {
			lines = append(lines, *e.Service)
		}
	}
	return lines
}

// TestTheLedgerAndTheCountersAreAll drops everything that follows from the
// ledger out of a saved state: what starts from the rest is the same.
func TestTheLedgerAndTheCountersAreAll(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		r := newRig(t, nil)
		r.pass(time.Second)
		for n := range rapid.IntRange(1, 6).Draw(rt, "commands") {
			r.pass(time.Duration(rapid.IntRange(1, 5).Draw(rt, "seconds")) * time.Second)
			entry := &drivers.ServiceEntry{Task: alarm.RunInOil}
			if n > 0 && rapid.Bool().Draw(rt, "undo") {
				entry = &drivers.ServiceEntry{Undoes: rapid.IntRange(1, n).Draw(rt, "which")}
			}
			r.step(drivers.Command{User: "d.moss", Verb: drivers.RecordService, Service: entry})
		}
		before := r.state.Snapshot(r.set)
		text, err := r.state.Marshal()
		if err != nil {
			rt.Fatal(err)
		}
		saved, err := rules.Unmarshal(text)
		if err != nil {
			rt.Fatal(err)
		}
		for i := range saved.Tasks {
			saved.Tasks[i].Places = nil
		}
		saved.Ledger = ledger(r.events)
		r.state, _ = rules.Start(r.set, saved)
		r.step()
		after := r.state.Snapshot(r.set)
		if d := cmp.Diff(before.Tasks[0].Done, after.Tasks[0].Done); d != "" {
			rt.Fatalf("started again from ledger and counters (-before +after):\n%s", d)
		}
	})
}

func TestServiceEventsCarryTheLedgerLine(t *testing.T) {
	r, hours, fewer := newRig(t, nil), 99_000.0, 98_000.0
	r.pass(time.Minute)
	r.step(drivers.Command{ID: "1", User: "d.moss", Verb: drivers.RecordService, Service: &drivers.ServiceEntry{
		Task: alarm.RunInOil, Found: string(service.Milky), Filled: 12, PanelHours: &hours,
	}})
	r.step(drivers.Command{ID: "2", User: "d.moss", Verb: drivers.RecordService, Service: &drivers.ServiceEntry{Task: alarm.RunInOil, PanelHours: &fewer}})
	r.step(drivers.Command{ID: "3", User: "d.moss", Verb: drivers.RecordService, Service: &drivers.ServiceEntry{Undoes: 2, Note: "read the wrong meter"}})
	var texts []string
	for _, e := range r.events {
		if e.Class == alarm.Record && e.Subject == alarm.RunInOil {
			texts = append(texts, e.Text)
		}
	}
	if d := cmp.Diff([]string{"service_recorded", "service_recorded", "service_hours_disputed", "service_undone"}, texts); d != "" {
		t.Errorf("events (-want +got):\n%s", d)
	}
	if lines := ledger(r.events); len(lines) != 3 || lines[0].Mode != "PDE" || lines[0].Number != 1 || lines[2].Entry.Undoes != 2 {
		t.Errorf("ledger %+v", lines)
	}
}

func TestHotOilAgesFaster(t *testing.T) {
	r := newRig(t, func(set *rules.Settings) {
		set.Tasks[0].FirstRunTime = 0
		set.Tasks[0].Warm = service.Warm{Base: 60, Step: 10}
	})
	r.values[drivers.HydraulicOilTemperature] = 80
	r.pass(2 * time.Minute) // until run time counts
	before := r.state.Snapshot(r.set).Tasks[0].Life
	r.pass(100 * time.Second)
	after := r.state.Snapshot(r.set).Tasks[0].Life
	if got := after.Spent - before.Spent; after.By != service.ByWarmTime || got < 399.9 || got > 400.1 {
		t.Errorf("100 s at 20 K above base counted %v s by %q, want 400", got, after.By)
	}
}

// A boot with a clock that is not set yet cleared what was overdue by the
// calendar, and raised it again minutes later: the acknowledgement was lost at
// every cut of power.
func TestWhatIsDueByTheCalendarStaysSoUntilTheClockIsSet(t *testing.T) {
	for _, days := range []int{340, 380, 410} {
		r := newRig(t, func(set *rules.Settings) {
			set.Tasks = []service.Task{{Name: "relief", Kind: service.ReliefTest, Calendar: 365 * 24 * time.Hour, DueSoon: 0.9, Overdue: 1.1}}
		})
		r.pass(time.Minute)
		past := time.Duration(days) * 24 * time.Hour
		r.at.Wall, r.at.SinceBoot = r.at.Wall.Add(past), r.at.SinceBoot+past
		got := names(r.pass(time.Minute))
		if len(got) != 1 {
			t.Fatalf("after %d days: %v", days, got)
		}
		raised := strings.TrimPrefix(got[0], "raised ")
		r.step(drivers.Command{ID: "1", User: "m.example", Verb: drivers.Acknowledge, Alarm: raised})
		wall := r.at.Wall
		r.at = drivers.Instant{Boot: "boot-b", SinceBoot: time.Minute, Wall: time.Unix(60, 0).UTC()}
		if got := names(r.pass(5 * time.Minute)); len(got) > 0 {
			t.Errorf("after %d days, booted, clock not set: %v", days, got)
		}
		r.at.Synchronized, r.at.Wall = true, wall.Add(10*time.Minute)
		if got := names(r.pass(time.Minute)); len(got) > 0 {
			t.Errorf("after %d days, clock set: %v", days, got)
		}
		r.step(drivers.Command{ID: "2", User: "m.example", Verb: drivers.RecordService, Task: "relief"})
		if got := names(r.pass(2 * time.Minute)); !slices.Equal(got, []string{"cleared " + raised}) {
			t.Errorf("after %d days, done: %v", days, got)
		}
	}
}
