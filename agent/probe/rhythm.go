package probe

import (
	"math"
	"slices"
	"time"
)

// A Rhythm is when values came and how they moved while they were watched.
type Rhythm struct {
	count       int
	first, last time.Time
	mean, m2    float64 // of the times between two, in seconds (Welford 1962)
	changes     int
	before      []uint16
}

// Add notes an answer at an instant.
func (r *Rhythm) Add(at time.Time, words []uint16) {
	if r.count == 0 {
		r.first = at
	} else {
		gap := at.Sub(r.last).Seconds()
		n := float64(r.count)
		d := gap - r.mean
		r.mean += d / n
		r.m2 += d * (gap - r.mean)
		if !slices.Equal(r.before, words) {
			r.changes++
		}
	}
	r.count++
	r.last = at
	r.before = append(r.before[:0], words...)
}

// Rate is the answers a second, 0 before the second one.
func (r *Rhythm) Rate() float64 {
	if r.mean <= 0 {
		return 0
	}
	return 1 / r.mean
}

// Jitter is the standard deviation of the time between two answers.
func (r *Rhythm) Jitter() time.Duration {
	if r.count < 3 {
		return 0
	}
	return time.Duration(math.Sqrt(r.m2/float64(r.count-2)) * float64(time.Second))
}

// Renewal is how often the device seems to renew its values: the time watched
// by the changes seen; 0 when nothing changed. It cannot be shorter than the
// time between two answers.
func (r *Rhythm) Renewal() time.Duration {
	if r.changes == 0 {
		return 0
	}
	return r.last.Sub(r.first) / time.Duration(r.changes)
}
