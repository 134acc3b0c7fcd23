package orders

import (
	"math"
	"time"
)

// A Sample is one reading of the signal.
type Sample struct {
	At    time.Duration // since boot: the middle of when it may have been taken
	Half  time.Duration // half the width of that interval, 0 when not known
	Value float64
}

// A Window collects the samples of one fit, and what is known of the shaft
// meanwhile. It holds a bounded number of them.
type Window struct {
	length  time.Duration
	start   time.Duration // of the first sample; times below are from here
	samples []point
	speeds  []point
	angles  []bound
}

// point is a value at a time in seconds from the window's start.
type point struct{ t, half, y float64 }

// bound says that the shaft had turned between low and high turns at t.
type bound struct{ t, half, low, high float64 }

// NewWindow makes a Window that is full after length, or after that many
// samples. Four seconds or twenty turns suit a steady pump; slow polling needs
// longer windows, about a hundred samples.
func NewWindow(length time.Duration, capacity int) *Window {
	return &Window{
		length:  length,
		samples: make([]point, 0, capacity),
		speeds:  make([]point, 0, capacity),
		angles:  make([]bound, 0, capacity),
	}
}

// Add takes a sample and says whether the window is now full: time to fit it
// and [Window.Reset] it. A sample that is not later than the one before is
// ignored. After a gap of more than a quarter of the length the window starts
// again with this sample.
func (w *Window) Add(s Sample) (full bool) {
	if n := len(w.samples); n > 0 {
		gap := s.At - w.start - seconds(w.samples[n-1].t)
		if gap <= 0 {
			return false
		}
		if gap > w.length/4 {
			w.Reset()
		}
	}
	if len(w.samples) == 0 {
		w.begin(s.At)
	}
	if len(w.samples) < cap(w.samples) {
		w.samples = append(w.samples, point{(s.At - w.start).Seconds(), s.Half.Seconds(), s.Value})
	}
	return s.At-w.start >= w.length || len(w.samples) == cap(w.samples)
}

// AddSpeed takes the stated speed of the pump's shaft, in turns per second.
func (w *Window) AddSpeed(at time.Duration, turnsPerSecond float64) {
	if len(w.speeds) < cap(w.speeds) {
		w.speeds = append(w.speeds, point{t: (at - w.start).Seconds(), y: turnsPerSecond})
	}
}

// AddAngle says that at a time, give or take half, the shaft had made between
// low and high turns, counted from one index mark on and never reset within
// the life of a [Track]. A pulse counter of p pulses per turn that reads n
// gives n/p and (n+1)/p; a time-stamped pulse gives n/p twice.
func (w *Window) AddAngle(at, half time.Duration, low, high float64) {
	if len(w.angles) < cap(w.angles) {
		w.angles = append(w.angles, bound{(at - w.start).Seconds(), half.Seconds(), low, high})
	}
}

// Reset empties the window and keeps its memory, and the last stated speed,
// which may be older than the next window.
func (w *Window) Reset() {
	w.samples, w.angles = w.samples[:0], w.angles[:0]
	if n := len(w.speeds); n > 0 {
		w.speeds[0] = w.speeds[n-1]
		w.speeds = w.speeds[:1]
	}
}

// Len is the number of samples in the window.
func (w *Window) Len() int { return len(w.samples) }

// span is the time from the first sample to the last, in seconds.
func (w *Window) span() float64 {
	if len(w.samples) == 0 {
		return 0
	}
	return w.samples[len(w.samples)-1].t
}

// rate is the polling rate in Hz: polls, with those that gave no sample, by
// the span. An interval of about n times the shortest usual one lacks n−1.
func (w *Window) rate() float64 {
	usual := w.span() / float64(len(w.samples)-1)
	for range 3 { // the mean of the intervals that are not much longer than it
		sum, n := 0.0, 0.0
		for i := 1; i < len(w.samples); i++ {
			if d := w.samples[i].t - w.samples[i-1].t; d < 1.5*usual {
				sum += d
				n++
			}
		}
		usual = sum / n
	}
	polls := 0.0
	for i := 1; i < len(w.samples); i++ {
		polls += math.Max(1, math.Round((w.samples[i].t-w.samples[i-1].t)/usual))
	}
	return polls / w.span()
}

// begin moves the origin of time to the first sample. Speeds and angles that
// came just before it stay.
func (w *Window) begin(at time.Duration) {
	shift := (w.start - at).Seconds()
	for i := range w.speeds {
		w.speeds[i].t += shift
	}
	for i := range w.angles {
		w.angles[i].t += shift
	}
	w.start = at
}

func seconds(s float64) time.Duration { return time.Duration(s * float64(time.Second)) }
