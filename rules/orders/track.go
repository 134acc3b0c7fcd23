package orders

import (
	"math"
	"math/cmplx"
	"time"
)

// A Lock says what ties a result's angles to those of the windows before.
type Lock uint8

// From the weakest to the strongest.
const (
	// Lost is nothing but the ripple, which repeats with every cylinder: the
	// angle may be off by any number of cylinders.
	Lost Lock = iota
	// Followed is the turning of the shaft since the window before.
	Followed
	// Indexed is the index.
	Indexed
)

// An index whose angle is known to within sharpIndex radians counts as one
// window, a blunter one for as much less as it says. Over longestMemory of them
// the ripple's direction is averaged: a polled pulse tells the angle of one
// window to some degrees, and order six turns by six times that.
const (
	sharpIndex    = 0.1
	longestMemory = 40
)

// longestCoast is how many turns the shaft may make unseen between two
// windows without its angle being lost: at ½ % of speed, twenty turns are off
// by 36°, and the ripple of a triplex mends up to 60°.
const longestCoast = 20

// A Track brings the results of successive windows to one angle. Without an
// index that is the angle at which the ripple's order has phase 0, followed
// from window to window; with one it is the angle from the index mark, as the
// ripple shows it, whose direction against the mark is an average over many
// windows. The zero Track has seen nothing.
type Track struct {
	ripple  complex128 // direction of the ripple's order, from the index mark; 0 when not learned
	memory  float64    // sharp windows it was averaged over
	at      time.Duration
	angle   float64 // of the shaft at that time, in the track's angles
	omega   float64 // rad/s
	started bool
}

// Align turns r to the track's angle and says what ties it there. After Lost
// the caller may turn on by multiples of 2π divided by the cylinders, to what
// fits a baseline, and must then call [Track.Adopt]. m is the number of
// cylinders.
func (t *Track) Align(r *Result, m int) Lock {
	lock := t.lock(r, m)
	switch lock {
	case Indexed:
		r.Turn(r.Index)
		t.learn(r, m)
		r.snap(m, cmplx.Phase(t.ripple))
	case Followed:
		r.Turn(t.angle + t.omega*(r.Start-t.at).Seconds() - r.AngleAt(r.Start))
		r.snap(m, cmplx.Phase(t.ripple))
	case Lost:
		r.snap(m, cmplx.Phase(t.ripple))
	}
	t.Adopt(r)
	return lock
}

func (t *Track) lock(r *Result, m int) Lock {
	coast := (r.Start - t.at).Seconds() * r.Speed
	switch {
	case r.IndexHalf < math.Pi/float64(m):
		return Indexed
	case t.started && r.Ripple && coast >= -1 && coast <= longestCoast:
		return Followed
	default:
		return Lost
	}
}

// Adopt makes the angles of r those of the track.
func (t *Track) Adopt(r *Result) {
	middle := (r.Start + r.End) / 2
	t.at, t.angle, t.started = r.End, r.AngleAt(r.End), true
	t.omega = (t.angle - r.AngleAt(middle)) / (r.End - middle).Seconds()
}

// Recall takes the ripple's order, from the index mark, for what it was when the
// pump last worked as it does now, as so many windows showed it; 0 is not known.
// Call it when speed or pressure have moved to another band, which turns the
// ripple.
func (t *Track) Recall(ripple complex128, windows int) {
	t.ripple, t.memory = 0, 0
	if size := cmplx.Abs(ripple); size > 0 {
		t.ripple, t.memory = ripple/complex(size, 0), min(float64(max(windows, 1)), longestMemory)
	}
}

// learn averages the direction of the ripple.
func (t *Track) learn(r *Result, m int) {
	if a := r.Amplitude(m); a != 0 && r.Ripple {
		weight := math.Min(1, math.Pow(sharpIndex/r.IndexHalf, 2))
		t.memory = math.Min(t.memory+weight, longestMemory)
		t.ripple += (a/complex(cmplx.Abs(a), 0) - t.ripple) * complex(weight/t.memory, 0)
	}
}

// snap turns r by the least angle that gives its ripple that phase.
func (r *Result) snap(m int, phase float64) {
	if a := r.Amplitude(m); a != 0 && r.Ripple {
		r.Turn(math.Remainder(cmplx.Phase(a)-phase, 2*math.Pi) / float64(m))
	}
}
