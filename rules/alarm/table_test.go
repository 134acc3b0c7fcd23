package alarm_test

import (
	"testing"
	"time"

	"pumpside/drivers"
	"pumpside/rules/alarm"
)

var start = time.Date(2026, 3, 1, 2, 0, 0, 0, time.UTC)

// at is an instant of the first boot with a good clock.
func at(since time.Duration) drivers.Instant {
	return drivers.Instant{Wall: start.Add(since), Boot: "boot-1", SinceBoot: since, Synchronized: true}
}

// A bench steps one alarm by hand.
type bench struct {
	t     *testing.T
	d     alarm.Definition
	m     alarm.Machine
	clock alarm.Clock
	now   alarm.Moment
	since time.Duration
	logic alarm.Logic
	after time.Duration // since the pump last started
}

func newBench(t *testing.T, d alarm.Definition) *bench {
	t.Helper()
	d.Name, d.Text = "no_flow", "no_flow"
	d.Notify, d.Responder = alarm.Now, alarm.ControlRoom
	if d.Priority == alarm.Low {
		d.Priority = alarm.Medium
	}
	d.WorsePriority = alarm.High
	b := &bench{t: t, d: d, m: alarm.Machine{Name: d.Name}}
	b.pass(0, no)
	return b
}

var (
	yes     = alarm.Condition{Holds: alarm.Yes, Quality: drivers.Good}
	no      = alarm.Condition{Holds: alarm.No, Quality: drivers.Good}
	worse   = alarm.Condition{Holds: alarm.Yes, Worse: true, Quality: drivers.Good}
	unknown = alarm.Condition{Quality: drivers.Bad, Reason: drivers.Timeout}
)

// pass lets time go by in one step and gives what happened.
func (b *bench) pass(d time.Duration, c alarm.Condition) []alarm.Event {
	b.t.Helper()
	b.since += d
	return b.stepAt(at(b.since), c)
}

func (b *bench) stepAt(at drivers.Instant, c alarm.Condition) []alarm.Event {
	b.t.Helper()
	b.now = b.clock.Tick(at)
	b.now.Logic, b.now.SinceStart = b.logic, b.after
	out := b.m.Step(&b.d, &b.now, &c, nil)
	b.check()
	return out
}

// wait steps once a second.
func (b *bench) wait(d time.Duration, c alarm.Condition) (all []alarm.Event) {
	b.t.Helper()
	for ; d > 0; d -= time.Second {
		all = append(all, b.pass(time.Second, c)...)
	}
	return all
}

func (b *bench) do(verb drivers.Verb) alarm.Event {
	b.t.Helper()
	return b.command(drivers.Command{ID: "c1", User: "m.example", Verb: verb})
}

func (b *bench) command(cmd drivers.Command) alarm.Event {
	b.t.Helper()
	out := b.m.Do(&b.d, &b.now, &cmd, nil)
	b.check()
	if len(out) != 1 {
		b.t.Fatalf("%s gives %d events, want 1", cmd.Verb, len(out))
	}
	return out[0]
}

// check is the law of the machine: active exactly when beyond a limit.
func (b *bench) check() {
	b.t.Helper()
	if b.m.State.Active() != (b.m.Level != alarm.Clear) {
		b.t.Fatalf("state %v at level %d", b.m.State, b.m.Level)
	}
}

// in brings a machine into a state by the shortest way.
func (b *bench) in(s alarm.State) *bench {
	b.t.Helper()
	switch s {
	case alarm.Unacknowledged:
		b.pass(time.Second, yes)
	case alarm.Acknowledged:
		b.in(alarm.Unacknowledged).do(drivers.Acknowledge)
	case alarm.ReturnedUnacknowledged, alarm.LatchedUnacknowledged:
		b.in(alarm.Unacknowledged).pass(time.Second, no)
	case alarm.LatchedAcknowledged:
		b.in(alarm.Acknowledged).pass(time.Second, no)
	}
	if b.m.State != s {
		b.t.Fatalf("state is %v, want %v", b.m.State, s)
	}
	return b
}

// The rows follow the alarm state model of ISA-18.2 and IEC 62682, in the
// wording of our own table.
func TestStateTable(t *testing.T) {
	ack, reset := drivers.Acknowledge, drivers.Reset
	tests := []struct {
		name     string
		latching bool
		from     alarm.State
		input    alarm.Condition
		verb     drivers.Verb
		to       alarm.State
		kind     alarm.Kind
		refusal  string
	}{
		{"normal: condition true", false, alarm.Normal, yes, "", alarm.Unacknowledged, alarm.Raised, ""},
		{"normal: nothing to acknowledge", false, alarm.Normal, no, ack, alarm.Normal, alarm.Refused, "no_flow is normal: there is nothing to acknowledge"},
		{"normal: nothing to reset", true, alarm.Normal, no, reset, alarm.Normal, alarm.Refused, "no_flow is normal: there is nothing to reset"},
		{"unacknowledged: acknowledge", false, alarm.Unacknowledged, yes, ack, alarm.Acknowledged, alarm.AcknowledgedBy, ""},
		{"unacknowledged: clears", false, alarm.Unacknowledged, no, "", alarm.ReturnedUnacknowledged, alarm.Cleared, ""},
		{"unacknowledged, latching: clears", true, alarm.Unacknowledged, no, "", alarm.LatchedUnacknowledged, alarm.Cleared, ""},
		{"unacknowledged: worse limit", false, alarm.Unacknowledged, worse, "", alarm.Unacknowledged, alarm.Worsened, ""},
		{"unacknowledged: cannot be reset", true, alarm.Unacknowledged, yes, reset, alarm.Unacknowledged, alarm.Refused, "no_flow cannot be reset while its cause is still there"},
		{"acknowledged: clears", false, alarm.Acknowledged, no, "", alarm.Normal, alarm.Cleared, ""},
		{"acknowledged, latching: clears", true, alarm.Acknowledged, no, "", alarm.LatchedAcknowledged, alarm.Cleared, ""},
		{"acknowledged: worse limit", false, alarm.Acknowledged, worse, "", alarm.Unacknowledged, alarm.Worsened, ""},
		{"acknowledged: only once", false, alarm.Acknowledged, yes, ack, alarm.Acknowledged, alarm.Refused, "no_flow is already acknowledged"},
		{"returned unacknowledged: acknowledge", false, alarm.ReturnedUnacknowledged, no, ack, alarm.Normal, alarm.AcknowledgedBy, ""},
		{"returned unacknowledged: true again", false, alarm.ReturnedUnacknowledged, yes, "", alarm.Unacknowledged, alarm.Raised, ""},
		{"returned unacknowledged: does not latch", false, alarm.ReturnedUnacknowledged, no, reset, alarm.ReturnedUnacknowledged, alarm.Refused, "no_flow does not latch: there is nothing to reset"},
		{"latched unacknowledged: acknowledge", true, alarm.LatchedUnacknowledged, no, ack, alarm.LatchedAcknowledged, alarm.AcknowledgedBy, ""},
		{"latched unacknowledged: reset refused", true, alarm.LatchedUnacknowledged, no, reset, alarm.LatchedUnacknowledged, alarm.Refused, "no_flow must be acknowledged before it can be reset"},
		{"latched unacknowledged: true again", true, alarm.LatchedUnacknowledged, yes, "", alarm.Unacknowledged, alarm.Raised, ""},
		{"latched acknowledged: reset", true, alarm.LatchedAcknowledged, no, reset, alarm.Normal, alarm.ResetBy, ""},
		{"latched acknowledged: only once", true, alarm.LatchedAcknowledged, no, ack, alarm.LatchedAcknowledged, alarm.Refused, "no_flow is already acknowledged"},
		{"latched acknowledged: true again", true, alarm.LatchedAcknowledged, yes, "", alarm.Unacknowledged, alarm.Raised, ""},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			b := newBench(t, alarm.Definition{Latching: tt.latching}).in(tt.from)
			var e alarm.Event
			if tt.verb != "" {
				e = b.do(tt.verb)
			} else if out := b.pass(time.Second, tt.input); len(out) != 1 {
				t.Fatalf("%d events, want 1: %+v", len(out), out)
			} else {
				e = out[0]
			}
			if b.m.State != tt.to || e.State != tt.to || e.Previous != tt.from || e.Kind != tt.kind || e.Refusal != tt.refusal {
				t.Errorf("now %v; event %v from %v to %v %q; want %v, %v from %v, %q", b.m.State, e.Kind, e.Previous, e.State, e.Refusal, tt.to, tt.kind, tt.from, tt.refusal)
			}
		})
	}
}

func TestUnknownInputHoldsEveryState(t *testing.T) {
	for _, latching := range []bool{false, true} {
		for s := alarm.Normal; s <= alarm.LatchedAcknowledged; s++ {
			if latching == (s == alarm.ReturnedUnacknowledged) || !latching && s >= alarm.LatchedUnacknowledged {
				continue
			}
			b := newBench(t, alarm.Definition{Latching: latching}).in(s)
			if out := b.wait(2*time.Minute, unknown); len(out) != 0 || b.m.State != s {
				t.Errorf("%v: bad input gives %v and state %v", s, out, b.m.State)
			}
		}
	}
}

func TestAcknowledgedAlarmComesBackAfterReAlarm(t *testing.T) {
	b := newBench(t, alarm.Definition{ReAlarm: 4 * time.Hour}).in(alarm.Acknowledged)
	if out := b.pass(4*time.Hour-time.Second, yes); len(out) != 0 {
		t.Fatalf("too early: %v", out)
	}
	out := b.pass(time.Second, yes)
	if len(out) != 1 || out[0].Kind != alarm.Reminded || out[0].State != alarm.Unacknowledged || out[0].Notify != alarm.Now {
		t.Errorf("after 4 h: %+v", out)
	}
}

func TestPriorityFollowsTheWorseLimit(t *testing.T) {
	b := newBench(t, alarm.Definition{WorseOff: time.Second})
	steps := []struct {
		input    alarm.Condition
		kind     alarm.Kind
		priority alarm.Priority
	}{
		{yes, alarm.Raised, alarm.Medium},
		{worse, alarm.Worsened, alarm.High},
		{yes, alarm.Eased, alarm.Medium}, // after the second it must be gone for
		{worse, alarm.Worsened, alarm.High},
		{no, alarm.Cleared, alarm.High},
		{worse, alarm.Raised, alarm.High},
	}
	for i, s := range steps {
		out := b.pass(time.Second, s.input)
		if s.kind == alarm.Eased {
			out = append(out, b.pass(time.Second, s.input)...)
		}
		if len(out) != 1 || out[0].Kind != s.kind || out[0].Priority != s.priority {
			t.Errorf("step %d: %+v, want %v at %v", i, out, s.kind, s.priority)
		}
	}
}
