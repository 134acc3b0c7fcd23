package alarm_test

import (
	"encoding/json"
	"slices"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"pgregory.net/rapid"

	"pumpside/drivers"
	"pumpside/rules/alarm"
)

// A life draws a definition and then inputs, commands, boots and conditions of
// operation in any order.
type life struct {
	d     alarm.Definition
	m     alarm.Machine
	clock alarm.Clock
	now   alarm.Moment
	boot  int
	since time.Duration
}

func newLife(t *rapid.T) *life {
	delay := rapid.SampledFrom([]time.Duration{0, time.Second, 15 * time.Second, time.Minute})
	l := &life{d: alarm.Definition{
		Name: "x", Text: "no_flow", Latching: rapid.Bool().Draw(t, "latching"), OnDelay: delay.Draw(t, "on"), OffDelay: delay.Draw(t, "off"),
		ReAlarm: delay.Draw(t, "re-alarm"), Blanking: delay.Draw(t, "blanking"), SuppressedBy: alarm.ColdStart, WhileRunning: rapid.Bool().Draw(t, "while running"),
		Priority: alarm.Medium, WorsePriority: alarm.High, Notify: alarm.Now, EscalateAfter: delay.Draw(t, "escalate"),
	}}
	return l
}

func (l *life) step(t *rapid.T) []alarm.Event {
	if rapid.IntRange(0, 40).Draw(t, "reboot") == 0 {
		l.boot++
		l.since = 0
	}
	l.since += rapid.SampledFrom([]time.Duration{0, time.Second, 5 * time.Second, time.Minute, 3 * time.Hour}).Draw(t, "passes")
	l.now = l.clock.Tick(drivers.Instant{
		Boot: string(rune('a' + l.boot)), SinceBoot: l.since, Synchronized: rapid.Bool().Draw(t, "synchronised"),
		Wall: start.Add(time.Duration(l.boot)*time.Hour + l.since),
	})
	l.now.Logic = rapid.SampledFrom([]alarm.Logic{0, 0, 0, alarm.ColdStart, alarm.PumpStopped}).Draw(t, "logic")
	l.now.SinceStart = rapid.SampledFrom([]time.Duration{0, time.Second, time.Hour}).Draw(t, "since start")
	c := rapid.SampledFrom([]alarm.Condition{yes, yes, worse, no, no, unknown}).Draw(t, "condition")
	return l.m.Step(&l.d, &l.now, &c, nil)
}

func (l *life) command(t *rapid.T) []alarm.Event {
	verb := rapid.SampledFrom([]drivers.Verb{drivers.Acknowledge, drivers.Acknowledge, drivers.Reset, drivers.Shelve, drivers.Unshelve, drivers.Remove, drivers.Return}).Draw(t, "verb")
	return l.m.Do(&l.d, &l.now, &drivers.Command{User: "m.example", Verb: verb}, nil)
}

// moves are the only changes of state there may be, by the kind of event. The
// first three kinds of leaving go where seenAfresh says or nowhere.
var moves = map[alarm.Kind]map[alarm.State][]alarm.State{
	alarm.Raised: {
		alarm.Normal: {alarm.Unacknowledged}, alarm.ReturnedUnacknowledged: {alarm.Unacknowledged},
		alarm.LatchedUnacknowledged: {alarm.Unacknowledged}, alarm.LatchedAcknowledged: {alarm.Unacknowledged},
	},
	alarm.Cleared: {
		alarm.Unacknowledged: {alarm.ReturnedUnacknowledged, alarm.LatchedUnacknowledged},
		alarm.Acknowledged:   {alarm.Normal, alarm.LatchedAcknowledged},
	},
	alarm.Worsened: {alarm.Unacknowledged: {alarm.Unacknowledged}, alarm.Acknowledged: {alarm.Unacknowledged}},
	alarm.AcknowledgedBy: {
		alarm.Unacknowledged: {alarm.Acknowledged}, alarm.ReturnedUnacknowledged: {alarm.Normal}, alarm.LatchedUnacknowledged: {alarm.LatchedAcknowledged},
	},
	alarm.ResetBy: {alarm.LatchedAcknowledged: {alarm.Normal}},
}

func allowed(e *alarm.Event) bool {
	switch e.Kind {
	case alarm.Unshelved, alarm.Unsuppressed, alarm.ReturnedToService:
		return e.State == e.Previous && (e.ShelvedNow || e.RemovedNow || e.SuppressedBy != 0) || e.State == leaving[e.Previous]
	case alarm.Reminded:
		return e.State == e.Previous || e.Previous == alarm.Acknowledged && e.State == alarm.Unacknowledged
	}
	to, listed := moves[e.Kind]
	if !listed {
		return e.State == e.Previous
	}
	return slices.Contains(to[e.Previous], e.State)
}

func TestRandomLivesKeepToTheStateTable(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		l := newLife(t)
		state, raised := alarm.Normal, false
		for range rapid.IntRange(1, 120).Draw(t, "steps") {
			var out []alarm.Event
			if l.now.At.Boot != "" && rapid.IntRange(0, 3).Draw(t, "command") == 0 {
				out = l.command(t)
			} else {
				out = l.step(t)
			}
			for i := range out {
				e := &out[i]
				if e.Previous != state {
					t.Fatalf("%v starts from %v, but the alarm was %v", e.Kind, e.Previous, state)
				}
				if !allowed(e) {
					t.Fatalf("%v took it from %v to %v", e.Kind, e.Previous, e.State)
				}
				if e.Kind == alarm.Raised && raised || e.Kind == alarm.Cleared && !raised {
					t.Fatalf("%v although raised is %v", e.Kind, raised)
				}
				if e.Notify != alarm.Never && (e.ShelvedNow || e.SuppressedBy != 0 || e.RemovedNow && e.Kind != alarm.Reminded) {
					t.Fatalf("%v calls someone under a mark", e.Kind)
				}
				raised = e.Kind == alarm.Raised || raised && e.Kind != alarm.Cleared
				state = e.State
			}
			if l.m.State != state || l.m.State.Active() != (l.m.Level != alarm.Clear) || l.m.State.Active() != raised {
				t.Fatalf("state %v at level %d; the events say %v, raised %v", l.m.State, l.m.Level, state, raised)
			}
			if latched := l.m.State >= alarm.LatchedUnacknowledged; latched && !l.d.Latching || l.m.State == alarm.ReturnedUnacknowledged && l.d.Latching {
				t.Fatalf("latching %v, but %v", l.d.Latching, l.m.State)
			}
		}
	})
}

// Nothing is lost or gained when the agent stops and starts between two steps.
func TestMachineComesBackFromItsJSON(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		l := newLife(t)
		for range rapid.IntRange(1, 30).Draw(t, "steps") {
			l.step(t)
		}
		text, err := json.Marshal(alarm.Memory{Clock: l.clock, Alarms: []alarm.Machine{{}, l.m}})
		if err != nil {
			t.Fatal(err)
		}
		var back alarm.Memory
		if err := json.Unmarshal(text, &back); err != nil {
			t.Fatal(err)
		}
		l.m.Name = l.d.Name
		back.Alarms[1].Name = l.d.Name
		back.Fit([]alarm.Definition{l.d})
		if diff := cmp.Diff(l.m, back.Alarms[0], cmpopts.IgnoreUnexported(alarm.Machine{})); diff != "" {
			t.Fatalf("came back otherwise (-was +is):\n%s", diff)
		}
		now := l.clock.Tick(l.now.At)
		if a, b := l.m.Step(&l.d, &now, &yes, nil), back.Alarms[0].Step(&l.d, &now, &yes, nil); len(a) != len(b) {
			t.Fatalf("goes on otherwise: %v, not %v", kinds(b), kinds(a))
		}
	})
}

func FuzzStoredMemoryIsMended(f *testing.F) {
	f.Add([]byte(`{"clock":{},"alarms":[{"name":"x","state":"acknowledged","level":2,"held":5},{"name":"gone"}]}`))
	f.Add([]byte(`{"alarms":[{"name":"x","state":"latched_acknowledged","shelved_for":-1,"level":200}]}`))
	f.Fuzz(func(t *testing.T, text []byte) {
		var mem alarm.Memory
		if json.Unmarshal(text, &mem) != nil {
			return
		}
		d := alarm.Definition{Name: "x", Text: "no_flow", WorsePriority: alarm.High}
		mem.Fit([]alarm.Definition{d})
		m := &mem.Alarms[0]
		for _, c := range []alarm.Condition{no, yes, worse, unknown, no} {
			now := alarm.Moment{At: at(0), Elapsed: time.Second, Watched: time.Second}
			m.Step(&d, &now, &c, nil)
			if m.State.Active() != (m.Level != alarm.Clear) || m.State >= alarm.LatchedUnacknowledged {
				t.Fatalf("state %v at level %d", m.State, m.Level)
			}
		}
	})
}

func TestFitKeepsWhatItKnowsByName(t *testing.T) {
	a, b, c := alarm.About("device_silent", "a"), alarm.About("device_silent", "b"), alarm.About("device_silent", "c")
	var mem alarm.Memory
	mem.Fit([]alarm.Definition{a, b})
	now := mem.Clock.Tick(at(0))
	mem.Step([]alarm.Definition{a, b}, &now, []alarm.Condition{no, yes}, nil)
	gone := mem.Fit([]alarm.Definition{c, b})
	if !equal(gone, []string{a.Name}) || mem.Alarms[0].State != alarm.Normal || mem.Alarms[1].State != alarm.Unacknowledged || mem.Alarms[0].Name != c.Name {
		t.Errorf("gone %v, left %+v", gone, mem.Alarms)
	}
}

func TestLogicComesBackFromText(t *testing.T) {
	l := alarm.PumpStopped | alarm.PowerLost
	text, _ := l.MarshalText()
	var back alarm.Logic
	if err := back.UnmarshalText(text); err != nil || back != l || string(text) != "pump_stopped,power_lost" {
		t.Errorf("%s, %v, %v", text, back, err)
	}
	const want = `"bored" is not a condition that can suppress; use one of pump_stopped, start_up, cold_start, after_service, shared_signal, power_lost`
	if err := back.UnmarshalText([]byte("bored")); err == nil || err.Error() != want {
		t.Errorf("error %v, want %s", err, want)
	}
}
