package probe

import (
	"context"
	"errors"
	"strings"
	"testing"
	"time"

	"pumpside/drivers/modbus"
)

func TestFaultPatternsAreToldInWords(t *testing.T) {
	timeout := context.DeadlineExceeded
	broken := errors.New("half a frame") // any error of no known kind is a broken frame
	refused := func(e modbus.Exception) error { return &modbus.RangeError{Unit: 1, Err: e} }
	times := func(n int, err error) (list []error) {
		for range n {
			list = append(list, err)
		}
		return list
	}
	tests := []struct {
		name   string
		tally  Tally
		reads  []error
		want   []string // a part of each sentence, in order
		failed int
	}{
		{"all is well", Tally{Timeout: time.Second, Slowest: 20 * time.Millisecond}, times(5, nil), nil, 0},
		{"silence on a serial line", Tally{Serial: true, Timeout: time.Second}, times(4, timeout), []string{"A and B swapped"}, 4},
		{"silence behind a connection", Tally{Timeout: time.Second}, times(4, timeout), []string{"try 1, 0 and 255"}, 4},
		{"bytes but no frame", Tally{Serial: true, Timeout: time.Second}, times(3, broken), []string{"baud rate or the parity is wrong"}, 3},
		{"bursts of broken frames", Tally{Serial: true, Timeout: time.Second}, append(times(9, nil), times(3, broken)...), []string{"termination (120 Ω"}, 3},
		{"single broken frames", Tally{Serial: true, Timeout: time.Second}, []error{nil, broken, nil, nil, broken, nil}, []string{"second master"}, 2},
		{"some answers are missing", Tally{Serial: true, Timeout: time.Second}, []error{nil, timeout, nil}, []string{"not always"}, 1},
		{"an address that is not there", Tally{Timeout: time.Second}, times(2, refused(modbus.IllegalAddress)), []string{"one off"}, 2},
		{"a table that is not there", Tally{Timeout: time.Second}, times(2, refused(modbus.IllegalFunction)), []string{"try holding where you read input"}, 2},
		{"a gateway in front of nothing", Tally{Timeout: time.Second}, times(2, refused(modbus.GatewayTargetSilent)), []string{"serial side of the gateway"}, 2},
		{
			"late answers name the timeout that would do",
			Tally{Serial: true, Timeout: 300 * time.Millisecond, Late: 2, Slowest: 412 * time.Millisecond},
			[]error{nil, timeout, timeout, nil},
			[]string{"raise the timeout to at least 830ms, twice the slowest answer measured (412ms)"},
			2,
		},
		{
			"answers that hardly make it",
			Tally{Timeout: 300 * time.Millisecond, Slowest: 280 * time.Millisecond},
			times(3, nil),
			[]string{"raise the timeout to at least 560ms"},
			0,
		},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			tally := tt.tally
			for _, err := range tt.reads {
				tally.Add(err)
			}
			got := tally.Words()
			if len(got) != len(tt.want) {
				t.Fatalf("%d sentences, want %d:\n%s", len(got), len(tt.want), strings.Join(got, "\n"))
			}
			for i := range got {
				if !strings.Contains(got[i], tt.want[i]) {
					t.Errorf("sentence %q lacks %q", got[i], tt.want[i])
				}
			}
			if tally.Failed() != tt.failed {
				t.Errorf("%d failed, want %d", tally.Failed(), tt.failed)
			}
		})
	}
}

func TestRhythmMeasuresRateJitterAndRenewal(t *testing.T) {
	var r Rhythm
	at := time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC)
	for i, gap := range []time.Duration{0, 90, 110, 90, 110} { // milliseconds; the value changes at every second answer
		at = at.Add(gap * time.Millisecond)
		r.Add(at, []uint16{uint16(i / 2)})
	}
	if got := r.Rate(); got < 9.99 || got > 10.01 {
		t.Errorf("rate %v/s, want 10", got)
	}
	// The sample standard deviation of 90, 110, 90, 110 is 20/√3 = 11.547.
	if got := r.Jitter().Round(time.Microsecond); got != 11547*time.Microsecond {
		t.Errorf("jitter %v, want 11.547ms", got)
	}
	if got := r.Renewal(); got != 200*time.Millisecond {
		t.Errorf("renewal %v, want 200ms", got)
	}
}

func TestRhythmOfNothingIsNothing(t *testing.T) {
	var r Rhythm
	if r.Rate() != 0 || r.Jitter() != 0 || r.Renewal() != 0 {
		t.Errorf("rate %v, jitter %v, renewal %v; want none", r.Rate(), r.Jitter(), r.Renewal())
	}
}
