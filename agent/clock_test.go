package main

import (
	"context"
	"encoding/json"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/rs/zerolog"

	"pumpside/rules"
	"pumpside/rules/alarm"
	"pumpside/rules/service"
	"pumpside/simulator"
)

// A wrongClock is a wall clock that a test sets.
type wrongClock struct {
	*clock
	off    atomic.Int64 // nanoseconds behind the right time
	steady atomic.Bool  // a time source steers it
}

func newWrongClock(shows time.Time) *wrongClock {
	w := &wrongClock{clock: newClock(false)}
	w.off.Store(int64(time.Since(shows)))
	w.wall = func(t time.Time) time.Time { return asShown(t).Add(-time.Duration(w.off.Load())) }
	w.steered = w.steady.Load
	return w
}

// set puts the wall clock right, as a time source does when the link is there.
func (w *wrongClock) set() {
	w.off.Store(0)
	w.steady.Store(true)
}

// A working gateway is one that runs in this process until its test stops it.
type working struct {
	*gateway
	end context.CancelFunc
	ran chan error
}

func work(t *testing.T, g *gateway) *working {
	t.Helper()
	ctx, end := context.WithCancel(context.Background())
	w := &working{g, end, make(chan error, 1)}
	go func() { w.ran <- g.run(ctx) }()
	t.Cleanup(w.end)
	return w
}

// stop ends it cleanly and releases the state file.
func (w *working) stop(t *testing.T) {
	t.Helper()
	w.end()
	if err := <-w.ran; err != nil {
		t.Error(err)
	}
	if err := w.close(); err != nil {
		t.Error(err)
	}
}

func (w *working) pump() *rules.Snapshot { return w.pumps[0].Snapshot() }

// A gateway without a clock of its own boots in 1970, and gets the time when
// the link is there. Nothing is lost or counted twice, the calendar waits.
func TestAClockAt1970LosesNothingAndTheCalendarWaits(t *testing.T) {
	t.Parallel()
	plant := newPlant(t, running(1))
	path := plant.configure(t, skidSite{}, "  clock: trusted\n", "", "metrics: {listen: \"127.0.0.1:0\"}", "metrics: {listen: \"off\"}")
	config, err := loadConfig(path)
	if err != nil {
		t.Fatal(err)
	}
	clock := newWrongClock(time.Date(1970, 1, 1, 0, 0, 8, 0, time.UTC))
	g, err := openBy(clock.clock, config, zerolog.Nop(), nil)
	if err != nil {
		t.Fatal(err)
	}
	began := time.Now()
	w := work(t, g)
	eventually(t, "the pump runs and is counted", func() bool { return w.pump().Totals.RunSeconds > 2 })
	if at := w.pump().At.Wall; at.Year() != 1970 {
		t.Fatalf("the rules see %v, and the test shows nothing", at)
	}
	plant.happen(t, 0, simulator.Event{Do: simulator.DriveTrip, Size: 7})
	eventually(t, "an alarm is raised in 1970", func() bool { return raised(w.pump(), "drive_fault") })
	if dated := dated(w.pump()); len(dated) > 0 {
		t.Errorf("%v have a date, and the clock is not set", dated)
	}
	before := w.pump().Totals

	clock.set()
	eventually(t, "the rules know the time", func() bool { return w.pump().At.Synchronized && w.pump().At.Wall.Year() > 2000 })
	eventually(t, "tasks by the calendar get their dates", func() bool { return len(dated(w.pump())) > 0 })
	after := w.pump().Totals
	if after.RunSeconds < before.RunSeconds {
		t.Errorf("run time fell from %v s to %v s", before.RunSeconds, after.RunSeconds)
	}
	if sum := after.RunSeconds + after.UnobservedSeconds; sum > time.Since(began).Seconds() {
		t.Errorf("%v s were counted in %v", sum, time.Since(began))
	}
	for _, task := range w.pump().Tasks {
		if task.Life.Used > 0.01 {
			t.Errorf("%s is used to %.0f %%: the years since 1970 were counted", task.Task, 100*task.Life.Used)
		}
	}
	if !raised(w.pump(), "drive_fault") {
		t.Error("the alarm ended when the clock was set")
	}
	w.stop(t)

	journal := ask(t, "alarms", "journal", "--json", "--config", path)
	var lines []journalLine
	if err := json.Unmarshal([]byte(journal), &lines); err != nil {
		t.Fatal(err)
	}
	want := uint64(0) // newest first
	for _, line := range lines {
		if line.Pump != "gp-1" {
			continue
		}
		if want > 0 && line.Event.Seq != want {
			t.Errorf("event %d follows, want %d: one was lost", line.Event.Seq, want)
		}
		want = line.Event.Seq - 1
	}
	if !strings.Contains(journal, `"drive_fault"`) || want != 0 {
		t.Errorf("the journal begins after event %d:\n%s", want, journal)
	}
}

// dated names the tasks whose date can be told.
func dated(s *rules.Snapshot) (names []string) {
	for _, task := range s.Tasks {
		if task.Window.Due.Why != service.NoClock {
			names = append(names, task.Task)
		}
	}
	return names
}

func raised(s *rules.Snapshot, name string) bool {
	for _, a := range s.Alarms {
		if a.Name == name {
			return a.State == alarm.Unacknowledged
		}
	}
	return false
}
