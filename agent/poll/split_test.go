package poll

import (
	"testing"
	"time"

	"pumpside/drivers/modbus"
)

func TestBlocksAreCutAndJoined(t *testing.T) {
	const beat = time.Second
	whole, left, right := modbus.Span{Count: 40}, modbus.Span{Count: 20}, modbus.Span{First: 20, Count: 20}
	var s split
	cut := func(b modbus.Span, now time.Duration, want bool) {
		t.Helper()
		if got := s.refuse(b, beat, now); got != want {
			t.Errorf("at %v: cut %v, want %v", now, got, want)
		}
	}
	// A drive that boots for two seconds, twice.
	cut(whole, 0, false)
	cut(whole, beat, false)
	cut(whole, 2*beat, false)
	s.answered(whole)
	cut(whole, 100*beat, false)
	cut(whole, 101*beat, false)
	cut(whole, 102*beat, false)
	// It goes on refusing: the parts are cut at once.
	cut(whole, 103*beat, true)
	cut(left, 103*beat, true)
	cut(right, 104*beat, true)
	// Joined and cut again, less and less often.
	now := 104 * beat
	for _, want := range []time.Duration{time.Minute, 4 * time.Minute, 16 * time.Minute, time.Hour, time.Hour} {
		if got := s.joinAt - now; got != want+cuttingFor {
			t.Errorf("joined after %v, want %v", got, want+cuttingFor)
		}
		now = s.joinAt
		s.join(beat, now)
		cut(whole, now, true)
	}
	s.back(now + time.Minute)
	if got := s.joinAt - now; got != time.Minute+cuttingFor {
		t.Errorf("joined %v after the device came back", got-time.Minute)
	}
	// Once nothing is cut any more, one refusal is none again.
	s.join(beat, s.joinAt)
	cut(whole, s.cutting+beat, false)
}
