package rules_test

import (
	"math"
	"math/cmplx"
	"slices"
	"testing"
	"time"

	"pumpside/drivers"
	"pumpside/rules"
	"pumpside/rules/diagnosis"
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
	b := newBench(t, warm(11), fast).withTasks()
	b.run(16*time.Minute, nil)
	b.event(simulator.Event{At: 16 * time.Minute, Do: simulator.SuctionValveLeak, Cylinder: 1, Size: 0.4})
	b.run(30*time.Minute, nil)
	turns := float64(b.set.Geometry.RatedSpeed) / 60
	if _, _, known := b.state.Observed.Line.At(turns, turns); known {
		t.Fatal("the line is known before anything showed it")
	}
	v := b.state.Snapshot(b.set).Condition
	got := b.tell(drivers.ServiceEntry{Task: "valves", Action: service.Replaced, Cylinder: 2, Side: "suction", Found: string(service.Leaking)})
	if !slices.Contains(got, "line_confirmed") {
		t.Fatalf("journal %v, condition %+v", got, v)
	}
	taught, _, known := b.state.Observed.Line.At(turns, turns)
	if !known {
		t.Fatalf("not known after it: %+v", b.state.Observed.Line)
	}

	ramp := newBench(t, warm(11), indexed)
	ramp.event(simulator.Event{At: 20 * time.Second, Do: simulator.Stop}, simulator.Event{At: 50 * time.Second, Do: simulator.Start})
	ramp.run(90*time.Second, nil)
	shown, _, known := ramp.state.Observed.Line.At(turns, turns)
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
