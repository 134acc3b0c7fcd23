package alarm_test

import (
	"math"
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"

	"pumpside/rules/alarm"
)

type taken struct {
	at       time.Duration
	x, turns float64
}

// plainMedian is the same by its definition, from all samples ever taken.
func plainMedian(all []taken) (float64, bool) {
	last := all[len(all)-1]
	for i := len(all) - 3; i >= 0; i-- {
		if last.at-all[i].at >= 5*time.Second && last.turns-all[i].turns >= 10 {
			var window []float64
			for _, s := range all[i:] {
				window = append(window, s.x)
			}
			slices.Sort(window)
			n := len(window)
			return (window[(n-1)/2] + window[n/2]) / 2, true
		}
	}
	return math.NaN(), false
}

func TestMedianIsThatOfItsDefinition(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var m alarm.Median
		var all []taken
		speed := rapid.Float64Range(0.5, 10).Draw(t, "turns per second")
		at := time.Duration(0)
		for range rapid.IntRange(1, 200).Draw(t, "samples") {
			at += time.Duration(rapid.IntRange(60, 2000).Draw(t, "gap")) * time.Millisecond
			s := taken{at, float64(rapid.IntRange(0, 20).Draw(t, "x")), 7 + speed*at.Seconds()}
			all = append(all, s)
			m.Add(s.at, s.x, s.turns, false)
			got, full := m.Value()
			want, wantFull := plainMedian(all)
			if full != wantFull || full && got != want {
				t.Fatalf("after %d samples: %v, %v; want %v, %v", len(all), got, full, want, wantFull)
			}
		}
	})
}

// A ripple of ± 15 % at three times per turn crosses a limit all the time; its
// median does not move.
func TestRippleDoesNotMoveTheMedian(t *testing.T) {
	var m alarm.Median
	for i := range 2000 {
		at := time.Duration(i) * 20 * time.Millisecond
		turns := 5.03 * at.Seconds()
		m.Add(at, 7e6*(1+0.15*math.Sin(6*math.Pi*turns)), turns, false)
		got, full := m.Value()
		if full != (i >= 250) {
			t.Fatalf("after %v: full is %v", at, full)
		}
		if full && math.Abs(got-7e6) > 7e4 {
			t.Fatalf("after %v: %.0f, want within 1 %% of 7 MPa", at, got)
		}
	}
}

func TestMedianWindow(t *testing.T) {
	nan := math.NaN()
	fill := func(m *alarm.Median, every time.Duration, speed float64, stopped bool) time.Duration {
		for at := time.Duration(0); at < 5*time.Minute; at += every {
			m.Add(at, 1, speed*at.Seconds(), stopped)
			if _, full := m.Value(); full {
				return at
			}
		}
		return -1
	}
	tests := []struct {
		name    string
		every   time.Duration
		speed   float64
		stopped bool
		want    time.Duration
	}{
		{"5 s at 5 turns a second", time.Second, 5, false, 5 * time.Second},
		{"ten turns at half a turn a second", time.Second, 0.5, false, 20 * time.Second},
		{"5 s while the pump stands", time.Second, 0, true, 5 * time.Second},
		{"10 s while nobody counts turns", time.Second, nan, false, 10 * time.Second},
		{"10 s while turns stand still though it runs", time.Second, 0, false, 10 * time.Second},
		{"three samples when polled every 30 s", 30 * time.Second, 5, false, time.Minute},
		{"a slow pump polled at 50 Hz is thinned, not lost", 20 * time.Millisecond, 0.4, false, 25 * time.Second},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			var m alarm.Median
			if got := fill(&m, tt.every, tt.speed, tt.stopped); got < tt.want || got > tt.want+100*time.Millisecond {
				t.Errorf("full after %v, want %v", got, tt.want)
			}
		})
	}
}

func TestMedianForgetsWhatWasBeforeAnOutage(t *testing.T) {
	var m alarm.Median
	for i := range 20 {
		m.Add(time.Duration(i)*time.Second, 1, 5*float64(i), false)
	}
	at := time.Hour
	m.Add(at, 9, 5*at.Seconds(), false)
	if _, full := m.Value(); full {
		t.Error("one sample after an outage is a window")
	}
	for i := 1; i < 7; i++ {
		at += time.Second
		m.Add(at, 9, 5*at.Seconds(), false)
	}
	if x, full := m.Value(); !full || x != 9 {
		t.Errorf("%v, %v after the outage, want 9", x, full)
	}
	m.Add(time.Second, 3, 0, false)
	if _, full := m.Value(); full {
		t.Error("a new boot does not start the window anew")
	}
}

func TestMedianDoesNotAllocate(t *testing.T) {
	var m alarm.Median
	at := time.Duration(0)
	add := func() {
		at += 20 * time.Millisecond
		m.Add(at, math.Sin(at.Seconds()), 5*at.Seconds(), false)
		m.Value()
	}
	for range 2000 {
		add()
	}
	if n := testing.AllocsPerRun(1000, add); n != 0 {
		t.Errorf("%v allocations per sample, want 0", n)
	}
}
