package rules_test

import (
	"math"
	"slices"
	"testing"
	"time"

	"pumpside/drivers"
	"pumpside/rules"
	"pumpside/rules/counters"
	"pumpside/rules/service"
)

// withTasks gives the pump these tasks and none else.
func withTasks(change func(*rules.Settings), tasks ...service.Task) func(*rules.Settings) {
	return func(set *rules.Settings) {
		set.Tasks = slices.Clone(tasks)
		for i := range set.Tasks {
			set.Tasks[i].DueSoon, set.Tasks[i].Overdue = service.DefaultDueSoon, service.DefaultOverdue
		}
		if change != nil {
			change(set)
		}
	}
}

// configured is the agent started again with another configuration.
func (r *rig) configured(change func(*rules.Settings)) {
	r.t.Helper()
	saved := r.saved()
	saved.Ledger = ledger(r.events)
	r.set = settings(r.t, change)
	var changes []rules.Change
	r.state, changes = rules.Start(r.set, saved)
	for _, c := range changes {
		if c.Event != nil {
			r.events = append(r.events, *c.Event)
		}
	}
}

func (r *rig) life() service.Life { return r.state.Snapshot(r.set).Tasks[0].Life }

func (r *rig) recordWork(task string) {
	r.step(drivers.Command{ID: task, User: "d.moss", Verb: drivers.RecordService, Task: task})
}

func wantUsed(t *testing.T, what string, life service.Life, want float64, by service.Measure) {
	t.Helper()
	if math.Abs(life.Used-want) > 0.01 || life.By != by {
		t.Errorf("%s: %.4f used by %q, want %.2f by %q", what, life.Used, life.By, want, by)
	}
}

func TestAWeightingThatComesLaterFindsTheLifeAlreadyUsed(t *testing.T) {
	noIndex := func(set *rules.Settings) { set.Counters.Installed &^= counters.SignalsOf(drivers.ShaftIndex) }
	valves := service.Task{Name: "valves", Kind: service.Valves, Strokes: 2000}
	r := newRig(t, withTasks(noIndex, valves))
	r.pass(5 * time.Minute)
	wantUsed(t, "plain", r.life(), 0.72, service.ByStrokes)
	valves.Pressure = service.Pressure{Reference: 3.5e6, Exponent: 1} // half of what it runs at
	r.configured(withTasks(noIndex, valves))
	r.step()
	wantUsed(t, "weighted from now on", r.life(), 0.72, service.ByWorn)
	before := r.life().Used
	r.pass(time.Minute)
	if more := r.life().Used - before; more < 0.28 || more > 0.31 {
		t.Errorf("a minute at twice the pressure used %.3f more, want twice 290 strokes of 2000", more)
	}
	weighted := r.life().Used
	valves.Pressure = service.Pressure{}
	r.configured(withTasks(noIndex, valves))
	r.step()
	valves.Pressure = service.Pressure{Reference: 3.5e6, Exponent: 1}
	r.configured(withTasks(noIndex, valves))
	r.step()
	wantUsed(t, "weighted again", r.life(), weighted, service.ByWorn)
}

// A table of one row says what a plain interval of that row says, whatever the
// pump had run before, and whenever it comes.
func TestATableCountsWhatThePumpHadRunBefore(t *testing.T) {
	table := service.Task{Name: "oil", Table: service.Table{{RunTime: 2000 * time.Hour}}}
	plain := service.Task{Name: "oil", RunTime: 2000 * time.Hour}
	opened := func(set *rules.Settings) { set.Counters.Opening.Run = 12_000 * time.Hour }
	r := newRig(t, withTasks(opened, table))
	r.pass(time.Minute)
	wantUsed(t, "never recorded", r.life(), 6, service.ByTable)
	r.recordWork("oil")
	r.pass(time.Minute)
	wantUsed(t, "just done", r.life(), 0, service.ByTable)

	r = newRig(t, withTasks(opened, plain))
	r.pass(time.Minute)
	r.configured(withTasks(opened, table))
	r.pass(time.Minute)
	wantUsed(t, "never recorded, a table that came later", r.life(), 6, service.ByTable)

	r = newRig(t, withTasks(opened, plain))
	r.pass(time.Minute)
	r.recordWork("oil")
	r.pass(time.Minute)
	r.configured(withTasks(opened, table))
	r.pass(time.Minute)
	wantUsed(t, "recorded before the table came", r.life(), 0, service.ByTable)
}

func opened(run time.Duration) func(*rules.Settings) {
	return func(set *rules.Settings) { set.Counters.Opening.Run = run }
}

// A typing mistake of 48,000 h for 4,800 h, put right after the oil was
// recorded: what was run since is the same, whichever way it counts.
func TestACorrectedOpeningCorrectsWhatWasRecordedUnderIt(t *testing.T) {
	for _, oil := range []service.Task{
		{Name: "oil", Kind: service.Oil, RunTime: 4 * time.Minute},
		{Name: "oil", Kind: service.Oil, RunTime: 4 * time.Minute, Warm: service.Warm{Base: 60, Step: 10}},
		{Name: "oil", Kind: service.Oil, Table: service.Table{{RunTime: 4 * time.Minute}}},
	} {
		r := newRig(t, withTasks(opened(48_000*time.Hour), oil))
		r.pass(2 * time.Minute)
		r.recordWork("oil")
		r.pass(2 * time.Minute)
		before := r.life()
		r.configured(withTasks(opened(4_800*time.Hour), oil))
		r.step()
		wantUsed(t, "put right", r.life(), before.Used, before.By)
		if n := recorded(r, "opening_counters"); n != 1 {
			t.Errorf("the change is journalled %d times", n)
		}
		r.configured(withTasks(opened(4_800*time.Hour), oil))
		r.step()
		wantUsed(t, "started once more", r.life(), before.Used, before.By)
		if n := recorded(r, "opening_counters") + recorded(r, "task_ahead"); n != 1 {
			t.Errorf("%d lines in the journal after one correction", n)
		}
	}
}

// A record that does not say under which opening it was made cannot be
// corrected, but it is not kept quiet that it lies ahead.
func TestARecordAheadOfThePumpIsJournalled(t *testing.T) {
	oil := service.Task{Name: "oil", Kind: service.Oil, RunTime: 4000 * time.Hour}
	r := newRig(t, withTasks(opened(48_000*time.Hour), oil))
	r.pass(time.Minute)
	r.recordWork("oil")
	for i := range r.events {
		if r.events[i].Service != nil {
			r.events[i].Service.Opening = nil
		}
	}
	r.configured(withTasks(opened(4_800*time.Hour), oil))
	if n := recorded(r, "task_ahead"); n != 1 {
		t.Errorf("journalled %d times, with a life of %.1f", n, r.life().Used)
	}
}

// recorded is how many lines of the journal have a text.
func recorded(r *rig, text string) (n int) {
	for _, e := range r.events {
		if e.Text == text {
			n++
		}
	}
	return n
}

// The gateway has no clock of its own, and work is recorded before the network
// has set it.
func TestWorkRecordedBeforeTheClockIsSetIsDatedByIt(t *testing.T) {
	const year = 365 * 24 * time.Hour
	relief := withTasks(nil, service.Task{Name: "relief", Kind: service.ReliefTest, Calendar: year})
	booted := func(r *rig, boot string) {
		r.at = drivers.Instant{Boot: boot, SinceBoot: time.Minute, Wall: time.Unix(60, 0).UTC()}
	}
	clockSet := func(r *rig, wall time.Time) { r.at.Synchronized, r.at.Wall = true, wall }
	for _, sameBoot := range []bool{true, false} {
		r := newRig(t, relief)
		r.pass(time.Minute)
		booted(r, "boot-b")
		r.pass(time.Minute)
		r.recordWork("relief")
		r.pass(time.Hour - time.Second)
		if !sameBoot {
			booted(r, "boot-c")
			r.pass(time.Minute)
		}
		clockSet(r, noon.Add(2*time.Hour))
		r.pass(time.Minute)
		want := noon.Add(2 * time.Hour) // late, for nobody knows how long it was off
		if sameBoot {
			want = noon.Add(time.Hour)
		}
		if got := r.state.Snapshot(r.set).Ledger[0]; !got.At.Wall.Equal(want) || !got.At.Synchronized || got.Entered != got.At {
			t.Errorf("same boot %v: done at %+v, want %v", sameBoot, got.At, want)
		}
		r.configured(relief) // the store keeps the line as it was
		booted(r, "boot-d")
		clockSet(r, want.Add(3*year))
		r.step()
		wantUsed(t, "three years later", r.life(), 3, service.ByCalendar)
		if s := r.state.Snapshot(r.set).Tasks[0].Status; s != service.Overdue {
			t.Errorf("same boot %v: %v three years later", sameBoot, s)
		}
	}
}

// The gateway is off for thirty days and the drive goes on: its meter tells of
// them afterwards, and they are booked where they were run.
func TestAnOutageIsBookedOnItsOwnDays(t *testing.T) {
	r := newRig(t, func(set *rules.Settings) { set.Counters.HourMeter.Kind = counters.RunHours })
	const day = 24 * time.Hour
	ran := 0 * time.Second
	run := func(d time.Duration) {
		for range d / (9 * time.Second) {
			r.values[drivers.DriveRunHours] = 500*3600 + ran.Truncate(time.Hour).Seconds()
			r.step()
			r.at.SinceBoot, r.at.Wall = r.at.SinceBoot+8*time.Second, r.at.Wall.Add(8*time.Second)
			ran += 9 * time.Second
		}
	}
	for _, reboot := range []bool{false, true} {
		run(3 * day)
		if ran += 30 * day; reboot {
			r.at.Boot, r.at.SinceBoot, r.at.Wall = r.at.Boot+"b", time.Minute, r.at.Wall.Add(30*day)
		} else {
			r.at.SinceBoot, r.at.Wall = r.at.SinceBoot+30*day, r.at.Wall.Add(30*day)
		}
		run(2 * day)
	}
	if n := len(r.state.Duty.Days); n != 70 {
		t.Errorf("%d days, want 70: %v", n, r.state.Duty.Days)
	}
	for i, d := range r.state.Duty.Days[1:] {
		if short := day - d.Run; short < 0 || short > 30*time.Minute {
			t.Errorf("day %d: %v, want all of it", i+1, d.Run)
		}
	}
}

// A pump that stands proves nothing to its meter: its days go on all the same,
// on a line that drops out now and then too.
func TestTheDaysOfAStandingPumpGoOnWhileAGapIsOpen(t *testing.T) {
	for _, drops := range []time.Duration{0, time.Minute} {
		r := newRig(t, nil)
		off := func(d time.Duration) { r.at.SinceBoot, r.at.Wall = r.at.SinceBoot+d, r.at.Wall.Add(d) }
		r.pass(time.Minute)
		stand(r)
		r.pass(time.Minute)
		off(2 * time.Hour)
		r.pass(time.Minute)
		if !r.state.Counters.Gap.Open {
			t.Fatal("no gap waits for the meter")
		}
		for range 3 * 24 {
			for range 450 {
				r.step()
				off(7 * time.Second)
			}
			off(drops)
		}
		if n := len(r.state.Duty.Days); n != 3 {
			t.Errorf("%d days after three, with drop-outs of %v an hour", n, drops)
		}
	}
}
