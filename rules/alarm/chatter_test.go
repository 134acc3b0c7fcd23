package alarm_test

import (
	"testing"
	"time"

	"pumpside/drivers"
	"pumpside/rules/alarm"
)

func kinds(events []alarm.Event) (list []alarm.Kind) {
	for _, e := range events {
		list = append(list, e.Kind)
	}
	return list
}

func TestThirdRaiseInAMinuteIsHeldActive(t *testing.T) {
	b := newBench(t, alarm.Definition{})
	var all []alarm.Event
	for range 3 {
		all = append(all, b.pass(5*time.Second, yes)...)
		all = append(all, b.pass(5*time.Second, no)...)
	}
	want := []alarm.Kind{alarm.Raised, alarm.Cleared, alarm.Raised, alarm.Cleared, alarm.Raised, alarm.Chattering}
	if got := kinds(all); !equal(got, want) {
		t.Fatalf("%v, want %v", got, want)
	}
	for range 100 {
		if out := append(b.pass(5*time.Second, yes), b.pass(5*time.Second, no)...); len(out) != 0 {
			t.Fatalf("a chattering alarm speaks again: %v", kinds(out))
		}
	}
	if !b.m.State.Active() {
		t.Fatal("it is not held active")
	}
	out := b.wait(61*time.Second, no)
	if got := kinds(out); !equal(got, []alarm.Kind{alarm.Settled, alarm.Cleared}) {
		t.Errorf("steady for a minute: %v, want settled and cleared", got)
	}
}

func TestChatterThatSettlesActiveStaysActive(t *testing.T) {
	b := newBench(t, alarm.Definition{})
	for range 3 {
		b.pass(time.Second, yes)
		b.pass(time.Second, no)
	}
	out := b.wait(2*time.Minute, yes)
	if got := kinds(out); !equal(got, []alarm.Kind{alarm.Settled}) || b.m.State != alarm.Unacknowledged {
		t.Errorf("%v in %v, want settled and still active", got, b.m.State)
	}
}

func TestThreeRaisesInMoreThanAMinuteAreNoChatter(t *testing.T) {
	b := newBench(t, alarm.Definition{})
	for range 5 {
		if out := append(b.pass(20*time.Second, yes), b.pass(10*time.Second, no)...); len(out) != 2 {
			t.Fatalf("%v, want a raise and a clear", kinds(out))
		}
	}
}

func equal[T comparable](a, b []T) bool {
	if len(a) != len(b) {
		return false
	}
	for i := range a {
		if a[i] != b[i] {
			return false
		}
	}
	return true
}

// A crowd is a board of many alarms that raise at once.
type crowd struct {
	defs  []alarm.Definition
	mem   alarm.Memory
	conds []alarm.Condition
	since time.Duration
}

func newCrowd(n int) *crowd {
	c := &crowd{conds: make([]alarm.Condition, n)}
	for i := range n {
		d := alarm.About("device_silent", "device_"+string(rune('a'+i)))
		d.Notify = alarm.Now
		c.defs = append(c.defs, d)
		c.conds[i] = no
	}
	c.mem.Fit(c.defs)
	c.step(0)
	return c
}

func (c *crowd) step(d time.Duration) []alarm.Event {
	c.since += d
	now := c.mem.Clock.Tick(at(c.since))
	return c.mem.Step(c.defs, &now, c.conds, nil)
}

func called(events []alarm.Event) (n int) {
	for _, e := range events {
		if e.Notify != alarm.Never {
			n++
		}
	}
	return n
}

func TestBeyondSixAnHourOneSummarySpeaks(t *testing.T) {
	c := newCrowd(10)
	var all []alarm.Event
	for i := range 8 {
		c.conds[i] = yes
		all = append(all, c.step(time.Minute)...)
	}
	if len(all) != 9 || called(all) != 7 {
		t.Fatalf("%d events, %d calls; want 8 raises and a summary, 6 and 1 calls", len(all), called(all))
	}
	sum := all[7]
	if sum.Kind != alarm.Summary || len(sum.Alarms) != 7 || sum.Evidence[0].Value != 1 || !all[6].Withheld || sum.Responder != alarm.Automation {
		t.Errorf("summary: %+v", sum)
	}
	if all[8].Notify != alarm.Never || !all[8].Withheld {
		t.Errorf("the eighth: %+v, want it withheld", all[8])
	}
	closing := c.step(53 * time.Minute)
	if len(closing) != 1 || closing[0].Kind != alarm.Summary || closing[0].Evidence[0].Value != 1 || len(closing[0].Alarms) != 8 {
		t.Fatalf("an hour after the first: %+v, want a closing summary of the one withheld since", closing)
	}
	c.conds[9] = yes
	if out := c.step(2 * time.Minute); called(out) != 1 || out[0].Kind != alarm.Raised {
		t.Errorf("after the flood: %+v, want calls one by one again", out)
	}
}

func TestHighAlarmInAFloodMakesANewSummary(t *testing.T) {
	c := newCrowd(10)
	c.defs[8].Priority, c.defs[8].WorsePriority = alarm.High, alarm.High
	for i := range 7 {
		c.conds[i] = yes
	}
	c.step(time.Second)
	c.conds[7] = yes
	if out := c.step(time.Second); called(out) != 0 {
		t.Fatalf("low priority in a flood calls: %v", kinds(out))
	}
	c.conds[8] = yes
	out := c.step(time.Second)
	if len(out) != 2 || out[1].Kind != alarm.Summary || out[1].Alarms[0] != c.defs[8].Name || out[1].Priority != alarm.High {
		t.Fatalf("high priority in a flood: %+v, want a summary that names it first", out)
	}
	c.conds[8] = no
	c.step(time.Second)
	c.conds[8] = yes
	if out := c.step(time.Second); called(out) != 0 {
		t.Errorf("named already: %v, want no further call", kinds(out))
	}
}

// Eight tasks that fell overdue together made a flood, and the fault of the drive
// was withheld for an hour.
func TestWhatWaitsForTheWorkingDayWithholdsNoCall(t *testing.T) {
	c := newCrowd(18)
	for i := range 10 {
		c.defs[i].Notify = alarm.NextWorkingDay
		c.conds[i] = yes
	}
	if out := c.step(time.Second); len(out) != 10 || called(out) != 10 {
		t.Fatalf("advisories: %+v, want each told for the day, and no summary", out)
	}
	for i := 10; i < 16; i++ {
		c.conds[i] = yes
		if out := c.step(time.Minute); len(out) != 1 || out[0].Notify != alarm.Now {
			t.Fatalf("after ten advisories: %+v, want a call", out)
		}
	}
	c.conds[16], c.conds[0] = yes, no
	if out := c.step(time.Minute); called(out) != 1 || out[len(out)-1].Kind != alarm.Summary || out[len(out)-1].Notify != alarm.Now {
		t.Errorf("the seventh call within the hour: %+v, want a summary", out)
	}
	c.conds[0] = yes
	if out := c.step(time.Minute); len(out) != 1 || out[0].Notify != alarm.NextWorkingDay || out[0].Withheld {
		t.Errorf("an advisory during a flood: %+v, want it told for the day", out)
	}
}

func TestUnknownAlarmIsRefused(t *testing.T) {
	c := newCrowd(1)
	now := c.mem.Clock.Tick(at(time.Minute))
	out := c.mem.Do(c.defs, &now, &drivers.Command{ID: "7", User: "m.example", Verb: drivers.Acknowledge, Alarm: "device_z"}, nil)
	if len(out) != 1 || out[0].Kind != alarm.Refused || out[0].CommandID != "7" || out[0].Refusal != `there is no alarm "device_z" here; "alarms list --all" shows the names` {
		t.Errorf("%+v", out)
	}
}
