package alarm_test

import (
	"strings"
	"testing"
	"time"

	"pumpside/drivers"
	"pumpside/rules/alarm"
)

// leaving has what each state becomes when the last mark is taken off.
var leaving = map[alarm.State]alarm.State{
	alarm.Normal:                 alarm.Normal,
	alarm.Unacknowledged:         alarm.Unacknowledged,
	alarm.Acknowledged:           alarm.Unacknowledged,
	alarm.ReturnedUnacknowledged: alarm.Normal,
	alarm.LatchedUnacknowledged:  alarm.LatchedUnacknowledged,
	alarm.LatchedAcknowledged:    alarm.LatchedUnacknowledged,
}

func TestLeavingTheLastMarkIsNeverAcknowledged(t *testing.T) {
	marks := []struct {
		name   string
		on     func(*bench)
		off    func(*bench)
		kind   alarm.Kind
		silent bool // no entry over an alarm that is normal
	}{
		{"shelved, by hand", func(b *bench) { b.do(drivers.Shelve) }, func(b *bench) { b.do(drivers.Unshelve) }, alarm.Unshelved, false},
		{"out of service", func(b *bench) { b.do(drivers.Remove) }, func(b *bench) { b.do(drivers.Return) }, alarm.ReturnedToService, false},
		{"suppressed", func(b *bench) { b.logic = alarm.ColdStart; b.pass(time.Second, b.same()) }, func(b *bench) { b.logic = 0; b.pass(time.Second, b.same()) }, alarm.Unsuppressed, true},
	}
	for _, mark := range marks {
		for from, to := range leaving {
			latching := from == alarm.LatchedAcknowledged || from == alarm.LatchedUnacknowledged
			b := newBench(t, alarm.Definition{Latching: latching, SuppressedBy: alarm.ColdStart}).in(from)
			mark.on(b)
			mark.off(b)
			if b.m.State != to {
				t.Errorf("%s over %v: leaves to %v, want %v", mark.name, from, b.m.State, to)
			}
		}
	}
}

// same gives the condition that changes nothing.
func (b *bench) same() alarm.Condition {
	if b.m.State.Active() {
		return yes
	}
	return no
}

func TestUnderAMarkTheJournalGoesOnButNobodyIsCalled(t *testing.T) {
	b := newBench(t, alarm.Definition{SuppressedBy: alarm.ColdStart})
	b.logic = alarm.ColdStart
	if out := b.pass(time.Second, no); len(out) != 0 {
		t.Fatalf("suppressing a normal alarm is worth no entry: %v", out)
	}
	out := b.pass(time.Second, yes)
	if len(out) != 1 || out[0].Kind != alarm.Raised || out[0].Notify != alarm.Never || out[0].SuppressedBy != alarm.ColdStart {
		t.Fatalf("raised under suppression: %+v", out)
	}
	b.logic = 0
	out = b.pass(time.Second, yes)
	if len(out) != 1 || out[0].Kind != alarm.Unsuppressed || out[0].State != alarm.Unacknowledged || out[0].Notify != alarm.Now {
		t.Errorf("suppression over: %+v, want it announced now", out)
	}
}

func TestMarksAreLeftOnlyWithTheLastOne(t *testing.T) {
	b := newBench(t, alarm.Definition{SuppressedBy: alarm.ColdStart}).in(alarm.Acknowledged)
	b.do(drivers.Shelve)
	b.do(drivers.Remove)
	b.logic = alarm.ColdStart
	b.pass(time.Second, yes)
	if e := b.do(drivers.Unshelve); e.State != alarm.Acknowledged || e.Notify != alarm.Never {
		t.Errorf("unshelved under two marks: %+v", e)
	}
	b.logic = 0
	if out := b.pass(time.Second, yes); out[0].State != alarm.Acknowledged || out[0].Notify != alarm.Never {
		t.Errorf("unsuppressed under one mark: %+v", out[0])
	}
	if e := b.do(drivers.Return); e.State != alarm.Unacknowledged || e.Notify != alarm.Now {
		t.Errorf("the last mark: %+v", e)
	}
}

func TestShelvingRunsOut(t *testing.T) {
	b := newBench(t, alarm.Definition{}).in(alarm.Unacknowledged)
	e := b.command(drivers.Command{User: "m.example", Verb: drivers.Shelve, Comment: "strainer changed tomorrow"})
	if e.Kind != alarm.Shelved || e.Duration != 8*time.Hour || !e.Until.Equal(b.now.At.Wall.Add(8*time.Hour)) || e.Comment != "strainer changed tomorrow" {
		t.Fatalf("shelved: %+v", e)
	}
	if out := b.pass(8*time.Hour-time.Second, yes); len(out) != 0 {
		t.Fatalf("too early: %v", out)
	}
	out := b.pass(time.Second, yes)
	if len(out) != 1 || out[0].Kind != alarm.Unshelved || out[0].State != alarm.Unacknowledged || out[0].Notify != alarm.Now || out[0].User != "" {
		t.Errorf("after 8 h: %+v", out)
	}
}

func TestReviewDateIsSaidAndTheAlarmStaysOut(t *testing.T) {
	b := newBench(t, alarm.Definition{})
	if e := b.do(drivers.Remove); e.Duration != 7*24*time.Hour || e.Kind != alarm.RemovedFromService {
		t.Fatalf("removed: %+v", e)
	}
	if out := b.pass(7*24*time.Hour-time.Second, no); len(out) != 0 {
		t.Fatalf("too early: %v", out)
	}
	out := b.pass(time.Second, no)
	if len(out) != 1 || out[0].Kind != alarm.Reminded || out[0].Notify != alarm.NextWorkingDay || !b.m.Removed {
		t.Errorf("review: %+v", out)
	}
}

func TestUntilIsLeftOutWithoutAClock(t *testing.T) {
	b := newBench(t, alarm.Definition{})
	blind := at(2 * time.Second)
	blind.Synchronized = false
	b.stepAt(blind, no)
	if e := b.do(drivers.Shelve); !e.Until.IsZero() || e.Duration != 8*time.Hour {
		t.Errorf("until %v for %v; want no date", e.Until, e.Duration)
	}
}

func TestRefusalsSayWhyInPlainWords(t *testing.T) {
	tests := []struct {
		name   string
		before drivers.Verb
		cmd    drivers.Command
		want   string
	}{
		{"nobody", "", drivers.Command{Verb: drivers.Acknowledge}, "a change needs the name of the person who makes it"},
		{"too long", "", drivers.Command{User: "a", Verb: drivers.Shelve, For: 25 * time.Hour}, "25 h is too long to shelve an alarm; 24 h is the most, for longer take it out of service"},
		{"negative", "", drivers.Command{User: "a", Verb: drivers.Shelve, For: -time.Hour}, "a time to shelve must be above zero"},
		{"twice", drivers.Shelve, drivers.Command{User: "a", Verb: drivers.Shelve}, "no_flow is already shelved for another 8 h; unshelve it first"},
		{"not shelved", "", drivers.Command{User: "a", Verb: drivers.Unshelve}, "no_flow is not shelved"},
		{"out twice", drivers.Remove, drivers.Command{User: "a", Verb: drivers.Remove}, "no_flow is already out of service"},
		{"out for a year", "", drivers.Command{User: "a", Verb: drivers.Remove, For: 365 * 24 * time.Hour}, "365 days is too long without a review; 90 days is the most"},
		{"in service", "", drivers.Command{User: "a", Verb: drivers.Return}, "no_flow is not out of service"},
		{"another verb", "", drivers.Command{User: "a", Verb: "silence"}, `"silence" is no command for an alarm; use acknowledge, reset, shelve, unshelve, remove or return`},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			b := newBench(t, alarm.Definition{})
			if tt.before != "" {
				b.do(tt.before)
			}
			before := b.m
			if e := b.command(tt.cmd); e.Kind != alarm.Refused || e.Refusal != tt.want || e.Notify != alarm.Never {
				t.Errorf("%v %q, want refused %q", e.Kind, e.Refusal, tt.want)
			}
			if before != b.m {
				t.Errorf("a refused command changed %+v to %+v", before, b.m)
			}
		})
	}
}

func TestStartUpBlanking(t *testing.T) {
	b := newBench(t, alarm.Definition{Blanking: 2 * time.Minute, SuppressedBy: alarm.PumpStopped})
	b.logic = alarm.PumpStopped
	b.wait(5*time.Second, yes)
	if b.m.Suppressed != alarm.PumpStopped || b.m.State != alarm.Unacknowledged {
		t.Fatalf("standing: %v by %v", b.m.State, b.m.Suppressed)
	}
	b.logic = 0
	b.pass(time.Second, yes) // the very moment of the start
	if b.m.Suppressed != alarm.StartUp {
		t.Fatalf("at the start: suppressed by %q, want start_up", b.m.Suppressed)
	}
	b.after = 2*time.Minute - time.Second
	b.pass(time.Second, no)
	b.after = 2 * time.Minute
	if out := b.pass(time.Second, no); len(out) != 1 || out[0].State != alarm.Normal || out[0].Notify != alarm.Never {
		t.Errorf("flow came within the blanking: %+v, want normal and nobody called", out)
	}
	b.after = 0 // nobody knows any more whether it runs
	if b.pass(time.Second, yes); b.m.Suppressed != 0 || b.m.State != alarm.Unacknowledged {
		t.Errorf("running unknown: %v, suppressed by %q; want it raised", b.m.State, b.m.Suppressed)
	}
}

func TestAlarmOfARunningPumpClearsWhenItStops(t *testing.T) {
	b := newBench(t, alarm.Definition{WhileRunning: true}).in(alarm.Unacknowledged)
	b.logic = alarm.PumpStopped
	if out := b.pass(time.Second, yes); len(out) != 1 || out[0].Kind != alarm.Cleared {
		t.Errorf("%+v, want cleared", out)
	}
}

// Only what a standing pump makes meaningless may rest while it stands.
func TestFewAlarmsMayListAStoppedPump(t *testing.T) {
	var defs []alarm.Definition
	for _, name := range alarm.StandingNames() {
		defs = append(defs, alarm.Standing(name))
	}
	low := 1.0
	for s := drivers.NoSignal + 1; s < drivers.SignalCount; s++ {
		defs = append(defs, alarm.SignalAlarms(alarm.SignalSettings{Signal: s, Low: &low, High: &low})...)
	}
	allowed := []string{"glycol_flow_low", "discharge_pressure_low", "efficiency_low", "loss_in_one_head", "finding"}
	found := 0
	for i := range defs {
		d := &defs[i]
		if d.SuppressedBy&alarm.PumpStopped != 0 {
			found++
			if !strings.Contains(strings.Join(allowed, " "), d.Text) {
				t.Errorf("%s rests while the pump is stopped", d.Name)
			}
			continue
		}
		d.SuppressedBy |= alarm.PumpStopped
		if err := d.Validate(); err == nil || !strings.Contains(err.Error(), "a stopped pump must not suppress it") {
			t.Errorf("%s may be made to rest while the pump is stopped: %v", d.Name, err)
		}
	}
	if found != len(allowed) {
		t.Errorf("%d alarms rest while the pump is stopped, want %d", found, len(allowed))
	}
}
