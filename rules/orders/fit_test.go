package orders_test

import (
	"errors"
	"math"
	"math/cmplx"
	"testing"
	"time"

	"pumpside/rules/orders"
)

// A trial fits many simulated windows and compares with the truth.
type trial struct {
	fits   int
	errs   map[error]int
	has    [13]int
	square [13]float64 // of the error per part
	stated [13]float64 // of the standard error
	chi    [13]float64 // squared error by stated, 1 when honest
	last   orders.Result
	index  float64 // largest error of the index angle, rad
	half   float64 // mean half-width it was stated with
}

func (tr *trial) rms(k int) float64 { return math.Sqrt(tr.square[k] / float64(tr.has[k])) }

func run(runs int, length time.Duration, s orders.Settings, change func(*rig)) *trial {
	w, f := orders.NewWindow(length, 1024), orders.NewFitter(s, 1024)
	tr := &trial{errs: map[error]int{}}
	for i := range runs {
		g := healthy(uint64(i))
		change(g)
		path := g.fill(w)
		if err := f.Fit(w, &tr.last); err != nil {
			tr.errs[err]++
			continue
		}
		tr.fits++
		origin := path.origin(&tr.last)
		if g.pulses > 0 {
			tr.index = math.Max(tr.index, math.Abs(math.Remainder(tr.last.Index-origin+g.offset, 2*math.Pi)))
			tr.half += tr.last.IndexHalf
		}
		tr.last.Turn(origin)
		for k := 1; k <= 12; k++ {
			tr.compare(k, g.lines[k])
		}
	}
	tr.half /= float64(tr.fits)
	return tr
}

func (tr *trial) compare(k int, truth complex128) {
	if !tr.last.Has(k) {
		return
	}
	tr.has[k]++
	e, se := tr.last.Amplitude(k)-truth, tr.last.StandardError(k)
	square := (real(e)*real(e) + imag(e)*imag(e)) / 2
	tr.square[k] += square
	tr.stated[k] += se * se
	tr.chi[k] += square / (se * se)
}

// The signal: 8 kPa of order 1 beside 610 kPa of order 3 and 300 kPa of order
// 6, 10 kPa of noise. White noise alone would leave 10·√(2/201) = 1 kPa on an
// order of a 50 Hz window of 4 s, if nothing else took part.
func TestFirstOrderIsFoundBesideAStrongThird(t *testing.T) {
	tests := []struct {
		name   string
		length time.Duration
		s      orders.Settings
		change func(*rig)
		most   float64 // kPa, error of order 1
		chi    float64 // most squared error by stated
	}{
		{"steady speed", 4 * time.Second, orders.Settings{}, func(g *rig) { g.wander = 0 }, 2.5, 1.5},
		{"speed wanders by 0.2 % in 2 s", 4 * time.Second, orders.Settings{}, func(*rig) {}, 3, 1.5},
		{"speed wanders by 0.2 % in 0.3 s", 4 * time.Second, orders.Settings{}, func(g *rig) { g.memory = 0.3 }, 3.5, 1.5},
		{"speed wanders by 0.5 %", 4 * time.Second, orders.Settings{}, func(g *rig) { g.wander = 0.005 }, 3, 1.5},
		{"speed ramps from 5 to 6.6 turns a second", 4 * time.Second, orders.Settings{}, func(g *rig) { g.ramp, g.drive = 0.4, 0.1 }, 1.6, 1.5},
		{"a start: from 2 to 4 turns a second in 2 s", 2 * time.Second, orders.Settings{Highest: 6, Tolerance: 0.2}, func(g *rig) {
			g.speed, g.ramp, g.drive, g.wander, g.driveOff = 2, 1, 0.5, 0, -0.08
			g.lines = map[int]complex128{1: 8, 3: 610, 6: 300}
		}, 5, 1.7},
		{"stated speed 2 % off", 4 * time.Second, orders.Settings{}, func(g *rig) { g.driveOff = 0.02 }, 3, 1.5},
		{"a fifth of the samples lost", 4 * time.Second, orders.Settings{}, func(g *rig) { g.lost = 0.2 }, 3.5, 1.5},
		{"time stamps off by up to 2 ms", 4 * time.Second, orders.Settings{}, func(g *rig) { g.stamp = 0.002 }, 14, 1.7},
		{"12 bit over 10.3 MPa", 4 * time.Second, orders.Settings{}, func(g *rig) { g.count = 2.52 }, 3, 1.5},
		{"900 rpm", 4 * time.Second, orders.Settings{}, func(g *rig) { g.speed = 15 }, 1.6, 1.5},
		{"polled at 10 Hz", 15 * time.Second, orders.Settings{}, func(g *rig) { g.poll, g.speed = 0.1, 4.9 }, 3, 1.5},
		{"polled at 20 Hz, four times a turn", 20 * time.Second, orders.Settings{}, func(g *rig) { g.poll, g.pulses = 0.05, 1 }, 3, 1.5},
		{"new values every 10 ms", 4 * time.Second, orders.Settings{Beat: 10 * time.Millisecond}, func(g *rig) { g.refresh, g.refreshAt = 0.01, 0.003 }, 3, 1.5},
		{"new values every 10 ms, stamps off by 3 ms", 4 * time.Second, orders.Settings{Beat: 10 * time.Millisecond}, func(g *rig) { g.refresh, g.refreshAt, g.stamp = 0.01, 0.003, 0.003 }, 3, 1.5},
		{"a beat stated that is not there", 4 * time.Second, orders.Settings{Beat: 10 * time.Millisecond}, func(*rig) {}, 3, 1.5},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			const runs = 30
			tr := run(runs, tt.length, tt.s, tt.change)
			if tr.fits < runs-1 || tr.has[1] < tr.fits {
				t.Fatalf("%d fits of %d, order 1 in %d of them, errors %v", tr.fits, runs, tr.has[1], tr.errs)
			}
			if chi := tr.chi[1] / float64(tr.fits); tr.rms(1) > tt.most || chi > tt.chi {
				t.Errorf("order 1 is off by %.2f kPa, want %.2f; %.2f times what it states, want %.2f", tr.rms(1), tt.most, chi, tt.chi)
			}
		})
	}
}

// Without the phase polynomial the third order spreads over the first: that
// is what the model of speed inside the window is for.
func TestModellingTheWanderIsWhatFindsTheFirstOrder(t *testing.T) {
	g := healthy(4)
	w, f := orders.NewWindow(4*time.Second, 512), orders.NewFitter(orders.Settings{}, 512)
	var wandering, rigid float64
	for range 30 {
		path := g.fill(w)
		var r orders.Result
		if err := f.Fit(w, &r); err != nil {
			t.Fatal(err)
		}
		r.Turn(path.origin(&r))
		wandering += math.Pow(cmplx.Abs(r.Amplitude(1)-g.lines[1]), 2) / 60
		// The same samples against an angle of constant speed.
		rigid += math.Pow(cmplx.Abs(g.rigid(path)-g.lines[1]), 2) / 60
	}
	if math.Sqrt(wandering) > 3 || math.Sqrt(rigid) < 10 {
		t.Errorf("off by %.1f kPa with the wander modelled and %.1f without", math.Sqrt(wandering), math.Sqrt(rigid))
	}
}

func TestIndexTellsTheAngle(t *testing.T) {
	tests := []struct {
		name        string
		length      time.Duration
		change      func(*rig)
		error, half float64 // most, rad
	}{
		{"one pulse a turn, counted at 50 Hz", 4 * time.Second, func(g *rig) { g.pulses, g.offset = 1, 1 }, 0.2, 0.2},
		{"one pulse a turn, counted at 10 Hz", 15 * time.Second, func(g *rig) { g.pulses, g.offset, g.poll, g.speed = 1, 1, 0.1, 4.9 }, 0.25, 0.1},
		{"four pulses a turn", 4 * time.Second, func(g *rig) { g.pulses, g.offset = 4, 0.2 }, 0.2, 0.2},
		{"no ripple at all", 4 * time.Second, func(g *rig) { g.pulses = 1; g.lines = map[int]complex128{1: 8} }, 0.3, 0.3},
		{"no speed from the drive", 4 * time.Second, func(g *rig) { g.pulses, g.drive = 1, 0 }, 0.2, 0.2},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			tr := run(30, tt.length, orders.Settings{}, tt.change)
			if tr.fits < 29 {
				t.Fatalf("%d fits, errors %v", tr.fits, tr.errs)
			}
			if tr.index > tt.error || tr.half > tt.half {
				t.Errorf("angle off by up to %.3f rad, want %.3f; stated within %.3f, want %.3f", tr.index, tt.error, tr.half, tt.half)
			}
			if chi := tr.chi[1] / float64(tr.fits); chi > 2 {
				t.Errorf("order 1 is off by %.2f times what it states", chi)
			}
		})
	}
}

// Polled exactly ten times a turn without jitter, orders 1 and 9 look the
// same, and so do 2 and 12.
func TestOrdersThatCannotBeToldApartAreLeftOut(t *testing.T) {
	tr := run(10, 4*time.Second, orders.Settings{}, func(g *rig) { g.jitter, g.wander = 0, 0 })
	if tr.fits != 10 {
		t.Fatalf("%d fits, errors %v", tr.fits, tr.errs)
	}
	for k, want := range map[int]int{1: 0, 2: 0, 3: 10, 6: 10, 9: 0, 12: 0} {
		if tr.has[k] != want {
			t.Errorf("order %d is reported in %d windows, want %d; inflation %.3g", k, tr.has[k], want, tr.last.Inflation(k))
		}
	}
	if tr.last.Condition < 1e6 {
		t.Errorf("condition %.3g looks well", tr.last.Condition)
	}
	if a := tr.last.Amplitude(1); a != 0 || !math.IsInf(tr.last.StandardError(1), 1) || tr.last.FalseAlarm(1) != 1 {
		t.Errorf("an order left out has amplitude %v ± %v", a, tr.last.StandardError(1))
	}
}

func TestFitSaysWhyItCannot(t *testing.T) {
	tests := []struct {
		name   string
		change func(*rig)
		want   error
	}{
		{"no speed and no index", func(g *rig) { g.drive = 0 }, orders.ErrNoSpeed},
		{"no ripple and no index", func(g *rig) { g.lines = nil }, orders.ErrNoRipple},
		{"polled once a second", func(g *rig) { g.poll, g.jitter = 0.9, 0 }, orders.ErrFew},
		{"a transmitter that stands still", func(g *rig) { g.lines, g.noise = nil, 0 }, orders.ErrFlat},
		{"polled without jitter at a rate that folds one speed onto another", func(g *rig) { g.poll, g.jitter, g.wander = 0.1, 0, 0; g.speed, g.driveOff = 4.95, 0 }, orders.ErrAmbiguous},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			w, f := orders.NewWindow(10*time.Second, 512), orders.NewFitter(orders.Settings{}, 512)
			g := healthy(1)
			tt.change(g)
			g.fill(w)
			r := orders.Result{Samples: -1}
			if err := f.Fit(w, &r); !errors.Is(err, tt.want) || r.Samples != -1 {
				t.Errorf("got %v and %d samples, want %v and nothing changed", err, r.Samples, tt.want)
			}
		})
	}
}

func TestNothingIsAllocatedPerSampleOrFit(t *testing.T) {
	w, f := orders.NewWindow(4*time.Second, 512), orders.NewFitter(orders.Settings{Beat: 10 * time.Millisecond}, 512)
	var (
		r    orders.Result
		tr   orders.Track
		mean orders.Mean
		at   time.Duration
	)
	per := testing.AllocsPerRun(5, func() {
		w.Reset()
		for full := false; !full; {
			at += 19*time.Millisecond + at%7*time.Millisecond/2
			s := math.Sin(2 * math.Pi * 15 * at.Seconds())
			w.AddSpeed(at, 5)
			w.AddAngle(at, 0, math.Floor(5*at.Seconds()), math.Floor(5*at.Seconds())+1)
			full = w.Add(orders.Sample{At: at, Value: 7000 + 600*s + float64(at%13)})
		}
		if err := f.Fit(w, &r); err != nil {
			t.Fatal(err)
		}
		tr.Align(&r, 3)
		mean.Add(&r)
	})
	if per != 0 {
		t.Errorf("%v allocations per window", per)
	}
}

// A false alarm chance is one that noise exceeds as often as it says.
func TestFalseAlarmOfAnOrderIsHonest(t *testing.T) {
	w, f := orders.NewWindow(4*time.Second, 512), orders.NewFitter(orders.Settings{}, 512)
	below, n := 0, 0
	for i := range 100 {
		g := healthy(uint64(100 + i))
		g.lines = map[int]complex128{3: 610, 6: 300}
		g.fill(w)
		var r orders.Result
		if err := f.Fit(w, &r); err != nil {
			t.Fatal(err)
		}
		for _, k := range []int{1, 2, 4, 5} {
			n++
			if r.FalseAlarm(k) < 0.1 {
				below++
			}
		}
		if r.FalseAlarm(3) > 1e-12 {
			t.Errorf("third order has false alarm chance %v", r.FalseAlarm(3))
		}
	}
	if share := float64(below) / float64(n); share < 0.06 || share > 0.14 {
		t.Errorf("%.3f of the orders that are not there have a chance below 0.1", share)
	}
}
