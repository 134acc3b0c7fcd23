package orders_test

import (
	"math"
	"math/cmplx"
	"testing"
	"time"

	"pgregory.net/rapid"

	"pumpside/rules/orders"
)

// Without an index, windows that follow one another keep the same third of
// the turn; after a long pause it is lost.
func TestTrackFollowsTheShaftFromWindowToWindow(t *testing.T) {
	g := healthy(2)
	w, f := orders.NewWindow(4*time.Second, 512), orders.NewFitter(orders.Settings{}, 512)
	var (
		track  orders.Track
		origin float64
	)
	for i := range 40 {
		if i == 30 {
			g.advance(g.t + 300)
		}
		path := g.fill(w)
		var r orders.Result
		if err := f.Fit(w, &r); err != nil {
			t.Fatal(err)
		}
		lock := track.Align(&r, 3)
		want := orders.Followed
		if i == 0 || i == 30 {
			want = orders.Lost
		}
		if lock != want {
			t.Fatalf("window %d: lock %v, want %v", i, lock, want)
		}
		if lock == orders.Lost {
			origin = path.origin(&r)
		}
		if off := math.Remainder(path.origin(&r)-origin, 2*math.Pi); math.Abs(off) > 0.1 {
			t.Errorf("window %d: the angle moved by %.2f rad", i, off)
		}
		if p := cmplx.Phase(r.Amplitude(3)); math.Abs(p) > 1e-6 {
			t.Errorf("window %d: ripple has phase %v, want 0", i, p)
		}
	}
}

func TestTrackCountsFromTheIndexMark(t *testing.T) {
	g := healthy(3)
	g.pulses, g.offset = 1, 2
	w, f := orders.NewWindow(4*time.Second, 512), orders.NewFitter(orders.Settings{}, 512)
	var track orders.Track
	for i := range 20 {
		g.advance(g.t + 60)
		path := g.fill(w)
		var r orders.Result
		if err := f.Fit(w, &r); err != nil {
			t.Fatal(err)
		}
		if lock := track.Align(&r, 3); lock != orders.Indexed {
			t.Fatalf("window %d: lock %v, want indexed", i, lock)
		}
		if off := math.Remainder(path.origin(&r)-g.offset, 2*math.Pi); math.Abs(off) > 0.15 {
			t.Errorf("window %d: the mark is off by %.3f rad", i, off)
		}
	}
}

// The index, polled every 20 ms, tells the angle of one window to some degrees.
// The ripple that is averaged against it tells it several times better.
func TestTheRippleSmoothesTheIndex(t *testing.T) {
	g := healthy(5)
	g.pulses, g.offset = 1, 2
	w, f := orders.NewWindow(4*time.Second, 512), orders.NewFitter(orders.Settings{}, 512)
	var track orders.Track
	alone, smooth, n := 0.0, 0.0, 0
	middle := math.NaN()
	for i := range 120 {
		path := g.fill(w)
		var r orders.Result
		if err := f.Fit(w, &r); err != nil {
			t.Fatal(err)
		}
		raw := r
		raw.Turn(r.Index)
		track.Align(&r, 3)
		if i < 60 {
			continue
		}
		off := math.Remainder(path.origin(&r)-g.offset, 2*math.Pi)
		if n++; n == 1 {
			middle = off
		}
		alone += math.Pow(math.Remainder(path.origin(&raw)-g.offset, 2*math.Pi), 2)
		smooth += (off - middle) * (off - middle)
	}
	if a, s := math.Sqrt(alone/float64(n)), math.Sqrt(smooth/float64(n)); s > a/3 {
		t.Errorf("angles scatter by %.4f rad, by the index alone %.4f", s, a)
	} else {
		t.Logf("angles scatter by %.4f rad, by the index alone %.4f", s, a)
	}
}

func TestTurningBackGivesTheSameResult(t *testing.T) {
	g := healthy(1)
	w, f := orders.NewWindow(4*time.Second, 512), orders.NewFitter(orders.Settings{}, 512)
	g.fill(w)
	var r orders.Result
	if err := f.Fit(w, &r); err != nil {
		t.Fatal(err)
	}
	rapid.Check(t, func(t *rapid.T) {
		angle := rapid.Float64Range(-10, 10).Draw(t, "angle")
		turned := r
		turned.Turn(angle)
		for k := 1; k <= 12; k++ {
			if got, want := turned.Amplitude(k), r.Amplitude(k)*cmplx.Rect(1, -float64(k)*angle); cmplx.Abs(got-want) > 1e-9 {
				t.Errorf("order %d turned: %v, want %v", k, got, want)
			}
			if r.Has(k) && math.Abs(turned.StandardError(k)-r.StandardError(k)) > 1e-9 {
				t.Errorf("order %d: its error changed by turning", k)
			}
		}
		turned.Turn(-angle)
		for k := 1; k <= 12; k++ {
			for l := 1; l <= 12; l++ {
				a, b := turned.CrossCovariance(k, l), r.CrossCovariance(k, l)
				for i := range a {
					if math.Abs(a[i]-b[i]) > 1e-9 {
						t.Errorf("covariance of %d and %d: %v, was %v", k, l, a, b)
					}
				}
			}
		}
	})
}

// Many windows average to less than one: by the root of their number, and
// their own errors say so.
func TestMeanOfManyWindows(t *testing.T) {
	g := healthy(6)
	g.pulses = 1
	w, f := orders.NewWindow(4*time.Second, 512), orders.NewFitter(orders.Settings{}, 512)
	var mean orders.Mean
	for range 75 { // five minutes
		path := g.fill(w)
		var r orders.Result
		if err := f.Fit(w, &r); err != nil {
			t.Fatal(err)
		}
		r.Turn(path.origin(&r))
		mean.Add(&r)
	}
	a, re, im, _ := mean.Amplitude(1)
	if e := cmplx.Abs(a - g.lines[1]); e > 3*math.Sqrt(re+im) || math.Sqrt(re) > 0.5 {
		t.Errorf("order 1 is %v ± %.2f kPa, off by %.2f", a, math.Sqrt(re), e)
	}
	if s, ok := mean.Scatter(1); !ok || s < 0.5 || s > 2 {
		t.Errorf("scatter %.2f, want about 1", s)
	}
	if n := mean.Windows(1); n != 75 {
		t.Errorf("%d windows, want 75", n)
	}
}

func TestAnEmptyMeanKnowsNothing(t *testing.T) {
	var mean orders.Mean
	a, re, _, _ := mean.Amplitude(1)
	if _, ok := mean.Scatter(1); a != 0 || !math.IsInf(re, 1) || ok {
		t.Errorf("amplitude %v ± %v", a, re)
	}
}

func TestWindowIsFullAfterItsLengthOrItsCapacity(t *testing.T) {
	w := orders.NewWindow(time.Second, 5)
	add := func(ms int) bool {
		return w.Add(orders.Sample{At: time.Duration(ms) * time.Millisecond, Value: 1})
	}
	for i, tt := range []struct {
		at   int
		full bool
		len  int
	}{{100, false, 1}, {300, false, 2}, {300, false, 2}, {200, false, 2}, {1000, false, 1}, {1200, false, 2}, {1400, false, 3}, {1600, false, 4}, {1700, true, 5}} {
		if full := add(tt.at); full != tt.full || w.Len() != tt.len {
			t.Errorf("step %d at %d ms: full %v, %d samples; want %v, %d", i, tt.at, full, w.Len(), tt.full, tt.len)
		}
	}
	w.Reset()
	for ms := 0; ms < 1000; ms += 250 {
		add(ms)
	}
	if !add(1000) {
		t.Error("not full after its length")
	}
}

// A direction that one window has shown gives way to what the next ones show;
// one that many have shown does not.
func TestARecalledDirectionIsWorthWhatItWasSeenIn(t *testing.T) {
	const wrong = 0.06 // rad of the shaft
	for _, tt := range []struct {
		windows     int
		least, most float64 // of the error left after ten windows
	}{{1, 0, 0.3}, {40, 0.6, 1}} {
		g := healthy(5)
		g.pulses, g.offset = 1, 2
		w, f := orders.NewWindow(4*time.Second, 512), orders.NewFitter(orders.Settings{}, 512)
		var track, settled orders.Track
		var r orders.Result
		for range 60 {
			g.fill(w)
			if err := f.Fit(w, &r); err != nil {
				t.Fatal(err)
			}
			settled.Align(&r, 3)
		}
		truth := r.Amplitude(3)
		track.Recall(truth*cmplx.Rect(1, 3*wrong), tt.windows)
		for range 10 {
			g.fill(w)
			if err := f.Fit(w, &r); err != nil {
				t.Fatal(err)
			}
			track.Align(&r, 3)
		}
		left := math.Abs(cmplx.Phase(r.Amplitude(3)/truth)) / 3 / wrong
		if left < tt.least || left > tt.most {
			t.Errorf("seen in %d windows: %.2f of the error is left after ten, want %v to %v", tt.windows, left, tt.least, tt.most)
		}
	}
}
