package orders_test

import (
	"testing"
	"time"

	"pumpside/rules/orders"
)

// A transmitter that renews its value every 10 ms makes each sample up to that
// old. Once its beat is found, time stamps are worth far less than a beat.
func TestTheBeatOfATransmitterIsKeptFromWindowToWindow(t *testing.T) {
	w, f := orders.NewWindow(4*time.Second, 512), orders.NewFitter(orders.Settings{Beat: 10 * time.Millisecond}, 512)
	g := healthy(3)
	g.refresh, g.refreshAt, g.stamp = 0.01, 0.004, 0.002
	var r orders.Result
	sum := 0.0
	const windows = 20
	for range windows {
		g.fill(w)
		if err := f.Fit(w, &r); err != nil {
			t.Fatal(err)
		}
		sum += r.TimeError
	}
	// Aged by half a beat they would be 10 ms/√12 = 2.9 ms off.
	if mean := sum / windows; mean > 0.5e-3 {
		t.Errorf("time stamps are off by %.2f ms on average", 1e3*mean)
	}
}

// Polled at 10 Hz a pump at 250 rpm has its ripple mirrored onto itself: only the
// index tells which of the ends of the refinement is true.
func TestTheIndexTellsTheTrueEndAmongMirrored(t *testing.T) {
	w, f := orders.NewWindow(12*time.Second, 384), orders.NewFitter(orders.Settings{Beat: 10 * time.Millisecond}, 384)
	g := healthy(4)
	g.speed, g.poll, g.refresh, g.stamp, g.pulses = 25.0/6, 0.1, 0.01, 0.003, 1
	var r orders.Result
	const windows = 12
	fitted := 0
	for range windows {
		path := g.fill(w)
		if f.Fit(w, &r) != nil {
			continue
		}
		fitted++
		r.Turn(path.origin(&r))
		if miss := distance(r.Amplitude(1), g.lines[1]); miss > 6*r.StandardError(1) {
			t.Errorf("order 1 is %v ± %.1f, want %v", r.Amplitude(1), r.StandardError(1), g.lines[1])
		}
	}
	if fitted < windows-2 {
		t.Errorf("%d of %d windows fitted", fitted, windows)
	}
}

// Behind a dampener the ripple may be smaller than the noise and than what a
// leaking head adds at once per turn: the speed is found by both.
func TestTheSpeedIsFoundByTheFirstOrderToo(t *testing.T) {
	w, f := orders.NewWindow(4*time.Second, 512), orders.NewFitter(orders.Settings{}, 512)
	g := healthy(5)
	g.lines = map[int]complex128{1: 12, 3: 6}
	var r orders.Result
	const windows = 10
	for range windows {
		g.fill(w)
		if err := f.Fit(w, &r); err != nil {
			t.Errorf("12 kPa of order 1 and 6 of order 3 under 10 of noise: %v", err)
		}
	}
}

func distance(a, b complex128) float64 {
	return max(real(a-b), -real(a-b)) + max(imag(a-b), -imag(a-b))
}
