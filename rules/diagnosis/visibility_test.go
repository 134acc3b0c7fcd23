package diagnosis

import (
	"math"
	"strings"
	"testing"
	"time"

	"pumpside/rules/orders"
)

func well() Installation {
	return Installation{
		Geometry: triplex(), Pressure: true, DampingKnown: true, Path: orders.Path{Lags: [3]float64{0.02}},
		Resolution: 2442, Poll: 20 * time.Millisecond, Share: 1.0 / 15, StampError: time.Millisecond,
		Flow: true, Suction: true, OilTemperature: true,
	}
}

// 5 % leak of one head of 23.2 L/min on 20 m of line: some kilopascals (common
// practice, no source). Half a second of damping leaves 0.0635 of 5 Hz (first
// order lag).
func TestWhatALeakShows(t *testing.T) {
	in := well()
	if p := float64(in.FirstOrder()); p < 2e3 || p > 12e3 {
		t.Errorf("5 %% leak shows %.0f Pa", p)
	}
	quick := in.left()
	in.Path.Lags[0] = 0.5
	if left := in.left(); math.Abs(left-0.0635) > 1e-3 || quick < 0.8 {
		t.Errorf("damping 0.5 s leaves %.4f, want 0.0635; 20 ms leaves %.2f", left, quick)
	}
}

func TestTheCheapestThingToChange(t *testing.T) {
	for _, tt := range []struct {
		name   string
		change func(*Installation)
		want   string
		seen   bool
	}{
		{"nothing", func(*Installation) {}, "", true},
		{"damping 2 s", func(in *Installation) { in.Path.Lags[0] = 1 }, "set the transmitter's damping from 1 s", true},
		{"damping not known", func(in *Installation) { in.DampingKnown = false }, "look up the transmitter's damping", true},
		{"snubber", func(in *Installation) { in.Path.Lags[1] = 0.5 }, "open or remove the snubber", true},
		{"slow device", func(in *Installation) { in.Update = 100 * time.Millisecond }, "the device renews its value every 100ms", true},
		{"no fast windows", func(in *Installation) { in.Share = 0 }, "give the pressure the read class fast", false},
		{"no pressure", func(in *Installation) { in.Pressure = false }, "map a discharge pressure", false},
	} {
		in := well()
		tt.change(&in)
		first := in.Sights()[0]
		if !strings.HasPrefix(first.Advice, tt.want) || first.Seen != tt.seen || tt.want == "" && first.Advice != "" {
			t.Errorf("%s: %+v, want seen %v and %q", tt.name, first, tt.seen, tt.want)
		}
	}
}

func TestMoreDampingNeverShowsASmallerLeak(t *testing.T) {
	in, before := well(), 0.0
	for lag := 0.0; lag < 3; lag += 0.1 {
		in.Path.Lags[0] = lag
		if least := in.LeastLeak(); least < before {
			t.Errorf("damping %.1f s: least leak %.4f, less than %.4f before", lag, least, before)
		} else {
			before = least
		}
	}
}

func TestReversedRotationIsNeverSeen(t *testing.T) {
	in := well()
	list := in.Sights()
	if last := list[len(list)-1]; last.Seen || last.Advice == "" {
		t.Errorf("%+v", last)
	}
}
