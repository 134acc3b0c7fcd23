package alarm_test

import (
	"testing"
	"time"

	"pgregory.net/rapid"

	"pumpside/drivers"
	"pumpside/rules/alarm"
)

const hoverStep = 5 * time.Second

// A hover is one alarm with two limits, and the calls it made.
type hover struct {
	d     alarm.Definition
	m     alarm.Machine
	clock alarm.Clock
	at    time.Duration
	calls []time.Duration
	quiet time.Duration // back inside the worse limit, without a break, now
	worse time.Duration // beyond it, without a break, now
	most  time.Duration // the longest quiet since the last call
}

func newHover() *hover {
	return &hover{at: time.Hour, d: alarm.Definition{
		Name: "oil_hot", Text: "hydraulic_oil_temperature_high", Priority: alarm.Medium, WorsePriority: alarm.High, Responder: alarm.Mechanic, Notify: alarm.Now,
		OnDelay: 15 * time.Second, OffDelay: 15 * time.Second,
		Rule: alarm.Rule{By: alarm.ByValue, Limit: alarm.Limit{High: true, Two: true, First: 80, Second: 90, Deadband: 1}},
	}}
}

// pass lets a value stand for a while; somebody acknowledges every call.
func (h *hover) pass(t interface{ Fatalf(string, ...any) }, value float64, d time.Duration) {
	for range int(d / hoverStep) {
		h.at += hoverStep
		now := h.clock.Tick(drivers.Instant{Boot: "a", SinceBoot: h.at, Wall: start.Add(h.at), Synchronized: true})
		c := h.d.Rule.Judge(good(value), h.m.Judged)
		if c.Worse {
			h.quiet, h.worse = 0, h.worse+hoverStep
		} else {
			h.quiet, h.worse = h.quiet+hoverStep, 0
			h.most = max(h.most, h.quiet)
		}
		for _, e := range h.m.Step(&h.d, &now, &c, nil) {
			if e.Notify != alarm.Now {
				continue
			}
			if e.Kind == alarm.Worsened && len(h.calls) > 1 && h.most < 10*time.Minute {
				t.Fatalf("called again at %v, after %v inside the worse limit at most", h.at, h.most)
			}
			h.calls, h.most = append(h.calls, h.at), 0
			h.m.Do(&h.d, &now, &drivers.Command{User: "m.example", Verb: drivers.Acknowledge}, nil)
		}
	}
}

// A value that stands between its limits and passes the worse one every three
// minutes for a quarter of an hour: the raise, one call for the worse limit, and
// another when after half an hour in between it is worse again.
func TestAValueThatHoversAtItsWorseLimitCallsOnce(t *testing.T) {
	h := newHover()
	h.pass(t, 85, time.Minute)
	for range 6 {
		h.pass(t, 91, 90*time.Second)
		h.pass(t, 86, 90*time.Second)
	}
	if len(h.calls) != 2 {
		t.Fatalf("%d calls at %v, want the raise and one for the worse limit", len(h.calls), h.calls)
	}
	h.pass(t, 86, 30*time.Minute)
	if h.m.Level != alarm.Beyond {
		t.Errorf("half an hour inside the worse limit it is still at level %d", h.m.Level)
	}
	h.pass(t, 91, time.Minute)
	if len(h.calls) != 3 {
		t.Errorf("%d calls at %v, want a third for what is worse again", len(h.calls), h.calls)
	}
}

// Whatever the value does around its worse limit, while it stays beyond the
// first: no call without ten minutes inside the worse limit since the last one,
// and a call within the delay once it is worse again after that.
func TestOnlyWhatIsReallyWorseAgainCalls(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		h := newHover()
		h.pass(t, 85, time.Minute)
		for range rapid.IntRange(1, 40).Draw(t, "turns") {
			value := rapid.Float64Range(82, 95).Draw(t, "value")
			length := time.Duration(rapid.IntRange(1, 240).Draw(t, "steps")) * hoverStep
			eased := h.m.Level == alarm.Beyond
			before := len(h.calls)
			h.pass(t, value, length)
			if eased && h.worse > h.d.OnDelay+hoverStep && len(h.calls) == before {
				t.Fatalf("worse for %v after it had eased, and nobody called", h.worse)
			}
		}
	})
}
