package rules_test

import (
	"testing"
	"time"

	"pumpside/drivers"
	"pumpside/rules"
	"pumpside/simulator"
)

// When something changes at a pump read in windows of 20 s a minute, the raw
// windows before and after are handed over once, in the order they were read.
func TestAFindingKeepsTheRawWindowsAroundIt(t *testing.T) {
	b := newBench(t, warm(5), fast)
	b.run(16*time.Minute, nil)
	b.event(simulator.Event{At: 16 * time.Minute, Do: simulator.DischargeValveLeak, Cylinder: 1, Size: 0.3})
	var got []*rules.Capture
	b.changed = func(c rules.Change) {
		if c.Capture != nil {
			got = append(got, c.Capture)
		}
	}
	b.run(30*time.Minute, nil)
	if len(got) != 1 {
		t.Fatalf("%d captures, want 1", len(got))
	}
	c := got[0]
	before, after, last := 0, 0, time.Duration(0)
	for _, r := range c.Readings {
		if r.SinceBoot < last {
			t.Fatalf("a reading at %v comes after one at %v", r.SinceBoot, last)
		}
		last = r.SinceBoot
		if r.SinceBoot <= c.At.SinceBoot {
			before++
		} else {
			after++
		}
		if r.Signal == drivers.DischargePressure && (r.Value < 1e6 || r.Value > 2e7) {
			t.Fatalf("pressure %v Pa", r.Value)
		}
	}
	if c.Why != rules.CapturedBegan || before < 600 || after < 600 || before+after > 1700 {
		t.Errorf("%s with %d readings before and %d after, want about 800 each", c.Why, before, after)
	}
}

// A finding that stands over a restart is the same finding: it is journalled
// once, and so is the raw pressure around it.
func TestARestartBeginsNoFindingAnew(t *testing.T) {
	b := newBench(t, warm(5), fast)
	b.run(16*time.Minute, nil)
	b.event(simulator.Event{At: 16 * time.Minute, Do: simulator.DischargeValveLeak, Cylinder: 1, Size: 0.3})
	began, captures := 0, 0
	b.changed = func(c rules.Change) {
		switch {
		case c.Capture != nil:
			captures++
		case c.Event != nil && c.Event.Alarm == rules.CapturedBegan:
			began++
		}
	}
	for end := 46 * time.Minute; end <= 66*time.Minute; end += 10 * time.Minute {
		b.run(end, nil)
		if v := b.state.Snapshot(b.set).Condition; v == nil || len(v.Causes) == 0 {
			t.Fatalf("nothing is found at %v", end)
		}
		text, err := b.state.Marshal()
		if err != nil {
			t.Fatal(err)
		}
		saved, err := rules.Unmarshal(text)
		if err != nil {
			t.Fatal(err)
		}
		b.state, _ = rules.Start(b.set, saved)
	}
	if began != 1 || captures != 1 {
		t.Errorf("journalled %d times and captured %d times, want once each", began, captures)
	}
}
