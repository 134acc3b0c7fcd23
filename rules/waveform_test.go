package rules_test

import (
	"math"
	"math/cmplx"
	"testing"
	"time"

	"pumpside/drivers"
	"pumpside/rules"
	"pumpside/rules/orders"
	"pumpside/rules/pump"
)

// A ripple is a pressure made of orders, by the angle from cylinder 1's start
// of discharge.
type ripple map[int]complex128

func (r ripple) at(turn float64) float64 {
	y := 0.0
	for k, a := range r {
		y += real(a * cmplx.Rect(1, 2*math.Pi*float64(k)*turn))
	}
	return y
}

// live gives the pump a pressure of 7 MPa with that ripple at 300 rpm, and an
// index whose mark passes a sixth of a turn before cylinder 1 begins.
func (b *bench) live(until time.Duration, r ripple) { b.counted(until, r, math.Floor) }

// counted is live with an index that shows count of the turns made.
func (b *bench) counted(until time.Duration, r ripple, count func(turns float64) float64) {
	for b.next < until {
		if b.routine <= b.next {
			b.readRoutine(b.routine)
			b.routine += time.Second
		}
		b.next += time.Duration(16+8*b.rng.Float64()) * time.Millisecond
		turn := 5 * b.next.Seconds()
		b.begin(b.next, time.Millisecond)
		b.batch.Readings = append(b.batch.Readings,
			drivers.Reading{Signal: drivers.ShaftIndex, Value: count(turn), Quality: drivers.Good},
			drivers.Reading{Signal: drivers.DischargePressure, Value: 7e6 + r.at(turn-1.0/6) + 500*b.rng.NormFloat64(), Quality: drivers.Good})
		b.step()
	}
}

// The page draws the turn from cylinder 1's start of discharge on, as it was
// learned and as it is: the difference is the order that was added.
func TestWaveformShowsWhatWasLearnedAndWhatIs(t *testing.T) {
	b := newBench(t, warm(3), sampling{poll: 20 * time.Millisecond, index: true})
	b.set.Geometry.Index = pump.Index{PulsesPerRevolution: 1, AngleKnown: true, Angle: -60}
	b.set.Signals[0].UpdatePeriod = 0
	healthy := ripple{1: cmplx.Rect(8e3, 1), 3: cmplx.Rect(600e3, -0.5), 6: cmplx.Rect(200e3, 2)}
	leaking := ripple{1: healthy[1] + cmplx.Rect(20e3, -2), 3: healthy[3], 6: healthy[6]}
	b.live(16*time.Minute, healthy)
	b.live(24*time.Minute, leaking)
	v := b.state.Snapshot(b.set).Condition
	w := v.Waveform
	if w == nil || w.Zero != rules.ZeroCylinder1 || len(w.Now) != orders.Bins || len(w.Learned) != orders.Bins || len(w.Read) != orders.Bins {
		t.Fatalf("waveform %+v", w)
	}
	for i := range w.Now {
		turn := (float64(i) + 0.5) / orders.Bins
		for _, c := range []struct {
			name            string
			got, want, most float64
		}{
			// An index polled every 20 ms tells the angle to a degree or two.
			{"learned", float64(w.Learned[i]), healthy.at(turn), 80e3},
			{"read", float64(w.Read[i]), leaking.at(turn), 90e3},
			{"now", float64(w.Now[i]), leaking.at(turn), 80e3},
		} {
			if math.Abs(c.got-c.want) > c.most {
				t.Errorf("%s at %.1f°: %.0f Pa, want %.0f ± %.0f", c.name, 360*turn, c.got, c.want, c.most)
			}
		}
	}
	one := v.Orders[0]
	if one.Order != 1 || !one.Moved || one.Now == nil || one.Learned == nil {
		t.Fatalf("first order %+v", one)
	}
	vector := func(v *rules.VectorView) complex128 { return cmplx.Rect(v.Amplitude, v.Degrees*math.Pi/180) }
	for _, c := range []struct {
		name      string
		got, want complex128
	}{
		{"learned", vector(one.Learned), healthy[1]},
		{"change", vector(one.Now) - vector(one.Learned), leaking[1] - healthy[1]},
	} {
		if cmplx.Abs(c.got-c.want) > 0.04*cmplx.Abs(c.want) {
			t.Errorf("%s %.0f Pa, want %.0f", c.name, c.got, c.want)
		}
	}
}

// With three pulses a turn nobody knows which of them comes with cylinder 1: a
// counter that starts again does so at any of them. The angle is then found by
// the orders, as without an index, and nothing seems to have changed.
func TestSeveralPulsesATurnAreNoAngle(t *testing.T) {
	b := newBench(t, warm(3), sampling{poll: 20 * time.Millisecond, index: true})
	b.set.Geometry.Index.PulsesPerRevolution = 3
	b.set.Signals[0].UpdatePeriod = 0
	r := ripple{1: cmplx.Rect(8e3, 1), 2: cmplx.Rect(5e3, 2), 3: cmplx.Rect(600e3, -0.5), 6: cmplx.Rect(200e3, 2)}
	thirds := func(from float64) func(float64) float64 {
		return func(turns float64) float64 { return math.Floor(3*turns) - from }
	}
	b.counted(20*time.Minute, r, thirds(0))
	b.counted(40*time.Minute, r, thirds(math.Floor(3*5*1200)-10)) // 10 pulses: a third of a turn off
	v := b.state.Snapshot(b.set).Condition
	if v.Waveform == nil || v.Waveform.Zero != rules.ZeroRipple {
		t.Fatalf("waveform %+v, want its angles from the ripple", v.Waveform)
	}
	for _, o := range v.Orders {
		if o.Now == nil || o.Learned == nil || o.Moved {
			t.Errorf("order %d: %+v, want as learned", o.Order, o)
		}
	}
	if b.visits != nil {
		t.Errorf("%v", b.visits)
	}
}
