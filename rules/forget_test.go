package rules_test

import (
	"fmt"
	"math"
	"math/cmplx"
	"slices"
	"testing"
	"time"

	"pumpside/drivers"
	"pumpside/rules"
	"pumpside/rules/diagnosis"
	"pumpside/rules/orders"
	"pumpside/rules/pump"
	"pumpside/rules/service"
	"pumpside/simulator"
)

// withTasks gives the bench's pump the tasks of check valves and dampener.
func (b *bench) withTasks() *bench {
	set := *b.set
	set.Tasks = []service.Task{
		{Name: "valves", Kind: service.Valves, RunTime: 4000 * time.Hour, DueSoon: service.DefaultDueSoon, Overdue: service.DefaultOverdue},
		{Name: "dampener", Kind: service.DampenerCharge, RunTime: 4000 * time.Hour, DueSoon: service.DefaultDueSoon, Overdue: service.DefaultOverdue},
	}
	var err error
	if b.set, err = set.Checked(); err != nil {
		b.t.Fatal(err)
	}
	b.state, _ = rules.Start(b.set, nil)
	return b
}

// tell records service and gives the journal's entries of that step.
func (b *bench) tell(e drivers.ServiceEntry) (entries []string) {
	b.begin(b.next, 0)
	b.batch.Commands = []drivers.Command{{User: "anna", Verb: drivers.RecordService, Service: &e}}
	for _, c := range rules.Step(b.set, b.state, &b.batch) {
		if c.Event != nil {
			entries = append(entries, c.Event.Alarm+c.Event.Refusal)
		}
	}
	b.batch.Commands = nil
	return entries
}

// The line that a repair teaches is the one that a start would have shown.
func TestAFoundValveTeachesTheLine(t *testing.T) {
	for _, size := range []float64{0.2, 0.4} {
		t.Run(fmt.Sprintf("a valve that loses %v of its flow", size), func(t *testing.T) { foundValveTeaches(t, size) })
	}
}

func foundValveTeaches(t *testing.T, size float64) {
	b := newBench(t, warm(11), fast).withTasks()
	b.run(16*time.Minute, nil)
	b.event(simulator.Event{At: 16 * time.Minute, Do: simulator.SuctionValveLeak, Cylinder: 1, Size: size})
	b.run(30*time.Minute, nil)
	turns := float64(b.set.Geometry.RatedSpeed) / 60
	if _, _, known := b.state.Observed.Line.At(turns, turns, orders.Path{}); known {
		t.Fatal("the line is known before anything showed it")
	}
	v := b.state.Snapshot(b.set).Condition
	got := b.tell(drivers.ServiceEntry{Task: "valves", Action: service.Replaced, Cylinder: 2, Side: "suction", Found: string(service.Leaking)})
	if !slices.Contains(got, "line_confirmed") {
		t.Fatalf("journal %v, condition %+v", got, v)
	}
	taught, _, known := b.state.Observed.Line.At(turns, turns, orders.Path{})
	if !known {
		t.Fatalf("not known after it: %+v", b.state.Observed.Line)
	}

	ramp := newBench(t, warm(11), indexed)
	ramp.event(simulator.Event{At: 20 * time.Second, Do: simulator.Stop}, simulator.Event{At: 50 * time.Second, Do: simulator.Start})
	ramp.run(90*time.Second, nil)
	shown, _, known := ramp.state.Observed.Line.At(turns, turns, orders.Path{})
	if !known {
		t.Fatal("a start did not show the line")
	}
	ratio := taught / shown
	t.Logf("taught %.2g, shown %.2g Pa by m³/s, ratio %.2f, angle %.0f°", cmplx.Abs(taught), cmplx.Abs(shown), cmplx.Abs(ratio), cmplx.Phase(ratio)*180/math.Pi)
	if math.Abs(cmplx.Phase(ratio)) > 30*math.Pi/180 || cmplx.Abs(ratio) < 0.6 || cmplx.Abs(ratio) > 1.6 {
		t.Errorf("the repair teaches another line than the start shows")
	}

	record := b.state.Ledger[len(b.state.Ledger)-1].Number
	b.tell(drivers.ServiceEntry{Undoes: record, Note: "it was cylinder 3"})
	if n := len(b.state.Observed.Line.Points); n != 0 {
		t.Errorf("%d points of the line after the record was undone, want 0", n)
	}
}

// Work done before a leak began is no answer to it, however late it is typed in:
// it teaches nothing, forgets nothing, and its effect is not judged. Work done
// since is, whenever it is typed in.
func TestWorkFromBeforeAFindingSaysNothingOfIt(t *testing.T) {
	b := newBench(t, warm(11), fast).withTasks()
	b.run(16*time.Minute, nil)
	b.event(simulator.Event{At: 16 * time.Minute, Do: simulator.SuctionValveLeak, Cylinder: 1, Size: 0.4})
	b.run(40*time.Minute, nil)
	found := b.state.Observed.Change
	if !found.Present {
		t.Fatal("the leak is not found")
	}
	b.state.Watch.LeakDown.Count = 3
	hours := 0.01
	for _, tt := range []struct {
		name    string
		at      time.Time
		answers bool
	}{
		{"two years ago", found.Began.Wall.AddDate(-2, 0, 0), false},
		{"just before the leak began", found.Began.Wall.Add(-time.Minute), false},
		{"just after the leak began", found.Began.Wall.Add(time.Minute), true},
	} {
		before := len(b.state.Ledger)
		got := b.tell(drivers.ServiceEntry{
			Task: "valves", Action: service.Replaced, Cylinder: 2, Side: "suction", Found: string(service.Leaking), At: tt.at, RunHours: &hours,
		})
		if len(b.state.Ledger) != before+1 {
			t.Fatalf("%s: journal %v", tt.name, got)
		}
		for _, what := range []struct {
			name string
			is   bool
		}{
			{"the line was taught", slices.Contains(got, "line_confirmed")},
			{"the finding was let go", !b.state.Observed.Change.Present},
			{"its effect is judged", b.state.Repair.Record == before+1},
			{"the leak-down is learned anew", b.state.Watch.LeakDown.Count == 0},
		} {
			if what.is != tt.answers {
				t.Errorf("%s: %s: %v, want %v", tt.name, what.name, what.is, tt.answers)
			}
		}
	}
}

// With nothing found, years of records typed in at once forget nothing; the
// visit of a moment ago does.
func TestOldRecordsForgetNothing(t *testing.T) {
	b := newBench(t, warm(11), fast).withTasks()
	b.run(16*time.Minute, nil)
	if !b.state.Observed.Learned {
		t.Fatal("nothing was learned")
	}
	hours := 0.01
	for _, tt := range []struct {
		name   string
		before time.Duration
		keeps  bool
	}{{"two years ago", 2 * 365 * 24 * time.Hour, true}, {"the day before the agent came", 24 * time.Hour, true}, {"a minute ago", time.Minute, false}} {
		got := b.tell(drivers.ServiceEntry{Task: "valves", Action: service.Replaced, At: b.state.At().Wall.Add(-tt.before), RunHours: &hours})
		if got[0] != "service_recorded" || b.state.Observed.Learned != tt.keeps {
			t.Errorf("%s: kept %v, want %v; journal %v", tt.name, b.state.Observed.Learned, tt.keeps, got)
		}
	}
}

// What turns the pressure's phases makes the line another; what does not leaves
// it.
func TestLineIsForgottenWhenItChanges(t *testing.T) {
	known := diagnosis.Line{Points: []diagnosis.LinePoint{{Hertz: 5, Re: 1e7, Error: 0.1, Turns: 5}}}
	for _, tt := range []struct {
		name  string
		entry drivers.ServiceEntry
		keeps bool
	}{
		{"piping was changed", drivers.ServiceEntry{Note: "new discharge pipe", LineChanged: true}, false},
		{"the dampener was charged", drivers.ServiceEntry{Task: "dampener", Action: service.Performed}, false},
		{"it was only looked at", drivers.ServiceEntry{Task: "dampener", Action: service.Inspected}, true},
		{"valves were replaced", drivers.ServiceEntry{Task: "valves", Action: service.Replaced}, true},
	} {
		b := newBench(t, warm(1), fast).withTasks()
		b.run(5*time.Second, nil)
		b.state.Observed.Line = known
		if got := b.tell(tt.entry); len(got) == 0 || got[0] != "service_recorded" {
			t.Errorf("%s: journal %v", tt.name, got)
		}
		if keeps := len(b.state.Observed.Line.Points) > 0; keeps != tt.keeps {
			t.Errorf("%s: line kept %v, want %v", tt.name, keeps, tt.keeps)
		}
	}
}

// A pump that is configured otherwise is another pump; one whose first head is
// only named in better words is the same.
func TestAnotherConfigurationForgetsWhatWasLearned(t *testing.T) {
	for _, tt := range []struct {
		name   string
		change func(*rules.Settings)
		keeps  bool
	}{
		{"nothing", func(*rules.Settings) {}, true},
		{"better words", func(s *rules.Settings) { s.Geometry.Cylinder1 = "next to the gearbox" }, true},
		{"index stated elsewhere", func(s *rules.Settings) { s.Geometry.Index.Angle = 120 }, false},
		{"another plunger", func(s *rules.Settings) { s.Geometry.Bore *= 1.1 }, false},
		{"discharge towards the crank", func(s *rules.Settings) { s.Geometry.Mechanism.Discharge = pump.Towards }, false},
		{"another transmitter", func(s *rules.Settings) { s.Signals[0].Path.Lags[0] += 0.4 }, false},
	} {
		b := newBench(t, warm(1), fast)
		b.run(5*time.Second, nil)
		b.state.Observed.Line.Points = []diagnosis.LinePoint{{Hertz: 5, Re: 1e7, Error: 0.1, Turns: 5}}
		b.state.Observed.Learned = true
		text, err := b.state.Marshal()
		if err != nil {
			t.Fatal(err)
		}
		saved, err := rules.Unmarshal(text)
		if err != nil {
			t.Fatal(err)
		}
		set := *b.set
		set.Signals = slices.Clone(set.Signals)
		tt.change(&set)
		if b.set, err = set.Checked(); err != nil {
			t.Fatal(err)
		}
		b.state, _ = rules.Start(b.set, saved)
		b.run(10*time.Second, nil)
		if keeps := len(b.state.Observed.Line.Points) > 0 && b.state.Observed.Learned; keeps != tt.keeps {
			t.Errorf("%s: kept %v, want %v", tt.name, keeps, tt.keeps)
		}
	}
}
