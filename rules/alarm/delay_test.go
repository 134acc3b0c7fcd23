package alarm_test

import (
	"testing"
	"time"

	"pumpside/drivers"
	"pumpside/rules/alarm"
)

func TestDelaysRunOnTimeSinceBoot(t *testing.T) {
	const s = time.Second
	type step struct {
		after time.Duration
		input alarm.Condition
		want  alarm.State
	}
	tests := []struct {
		name  string
		steps []step
	}{
		{"raises when the on-delay is over", []step{{s, yes, alarm.Normal}, {14 * s, yes, alarm.Normal}, {s, yes, alarm.Unacknowledged}}},
		{"a shorter spell raises nothing", []step{{s, yes, alarm.Normal}, {14 * s, yes, alarm.Normal}, {s, no, alarm.Normal}, {14 * s, yes, alarm.Normal}, {14 * s, yes, alarm.Normal}}},
		{"clears when the off-delay is over", []step{{s, yes, alarm.Normal}, {15 * s, yes, alarm.Unacknowledged}, {s, no, alarm.Unacknowledged}, {29 * s, no, alarm.Unacknowledged}, {s, no, alarm.ReturnedUnacknowledged}}},
		{"bad input freezes the on-delay", []step{{s, yes, alarm.Normal}, {10 * s, yes, alarm.Normal}, {40 * s, unknown, alarm.Normal}, {5 * s, yes, alarm.Normal}, {4 * s, yes, alarm.Normal}, {s, yes, alarm.Unacknowledged}}},
		{"bad input freezes the off-delay", []step{{s, yes, alarm.Normal}, {15 * s, yes, alarm.Unacknowledged}, {s, no, alarm.Unacknowledged}, {20 * s, no, alarm.Unacknowledged}, {60 * s, unknown, alarm.Unacknowledged}, {9 * s, no, alarm.Unacknowledged}, {10 * s, no, alarm.ReturnedUnacknowledged}}},
		{"a silence longer than a minute is not watched", []step{{s, yes, alarm.Normal}, {61 * s, yes, alarm.Normal}, {15 * s, yes, alarm.Unacknowledged}}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			b := newBench(t, alarm.Definition{OnDelay: 15 * s, OffDelay: 30 * s})
			for i, st := range tt.steps {
				b.pass(st.after, st.input)
				if b.m.State != st.want {
					t.Fatalf("step %d: %v, want %v", i, b.m.State, st.want)
				}
			}
		})
	}
}

func TestWorseLimitHasItsOwnDelay(t *testing.T) {
	b := newBench(t, alarm.Definition{OnDelay: 15 * time.Second})
	b.wait(16*time.Second, yes)
	if out := b.wait(15*time.Second, worse); len(out) != 0 {
		t.Fatalf("worse too early: %v", out)
	}
	if out := b.wait(time.Second, worse); len(out) != 1 || out[0].Kind != alarm.Worsened || out[0].Duration != 31*time.Second {
		t.Errorf("%+v, want worsened after 31 s of holding", out)
	}
}

func TestRaisedSaysHowLongTheConditionHeld(t *testing.T) {
	b := newBench(t, alarm.Definition{OnDelay: 4 * time.Minute})
	out := b.wait(5*time.Minute, yes)
	if len(out) != 1 || out[0].Duration != 4*time.Minute || out[0].Occurrence != 1 {
		t.Fatalf("%+v, want one raise after 4 min", out)
	}
	out = b.wait(2*time.Second, no)
	if len(out) != 1 || out[0].Kind != alarm.Cleared || out[0].Duration != 5*time.Minute {
		t.Errorf("%+v, want cleared after 5 min in all", out)
	}
}

func TestDelaysAcrossBoots(t *testing.T) {
	reboot := func(wall time.Duration, synchronized bool) drivers.Instant {
		return drivers.Instant{Wall: start.Add(wall), Boot: "boot-2", SinceBoot: 8 * time.Second, Synchronized: synchronized}
	}
	tests := []struct {
		name        string
		next        drivers.Instant
		shelvedLeft time.Duration
	}{
		{"known: shelving goes on, delays count nothing of it", reboot(time.Hour, true), 7 * time.Hour},
		{"unknown: shelving ends", reboot(time.Hour, false), 0},
		{"clock went back: shelving ends", reboot(-time.Hour, true), 0},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			b := newBench(t, alarm.Definition{OnDelay: 15 * time.Second})
			b.do(drivers.Shelve)
			b.wait(10*time.Second, yes)
			b.stepAt(tt.next, yes)
			if b.m.ShelvedFor != tt.shelvedLeft || b.m.Held != 9*time.Second {
				t.Errorf("shelved for another %v, held %v; want %v, 9 s", b.m.ShelvedFor, b.m.Held, tt.shelvedLeft)
			}
			next := tt.next
			next.SinceBoot += 6 * time.Second
			if b.stepAt(next, yes); b.m.State != alarm.Unacknowledged {
				t.Errorf("state %v, want raised after 15 s watched in all", b.m.State)
			}
		})
	}
}

func TestWallClockJumpChangesNoDelay(t *testing.T) {
	b := newBench(t, alarm.Definition{OnDelay: 15 * time.Second})
	b.pass(time.Second, yes)
	jump := at(15 * time.Second)
	jump.Wall = time.Unix(0, 0)
	if out := b.stepAt(jump, yes); len(out) != 0 {
		t.Fatalf("14 s and a clock back to 1970: %v", out)
	}
	jump = at(16 * time.Second)
	jump.Wall = start.Add(30 * 365 * 24 * time.Hour)
	if out := b.stepAt(jump, yes); len(out) != 1 {
		t.Errorf("15 s: %v, want a raise", out)
	}
}

func TestLateInstantIsAMomentOfNoLength(t *testing.T) {
	var c alarm.Clock
	c.Tick(at(10 * time.Second))
	if now := c.Tick(at(4 * time.Second)); now.Elapsed != 0 || now.Watched != 0 || now.Lost {
		t.Errorf("%+v, want no time", now)
	}
	if now := c.Tick(at(11 * time.Second)); now.Elapsed != time.Second {
		t.Errorf("elapsed %v, want 1 s since the latest", now.Elapsed)
	}
}

func TestFirstMomentHasNoLength(t *testing.T) {
	var c alarm.Clock
	if now := c.Tick(at(time.Hour)); now.Elapsed != 0 || now.Lost {
		t.Errorf("%+v", now)
	}
}
