package counters

import "time"

// rippleWindow is long enough for slow polling to meet the ripple at several
// phases, and short enough for the pressure step of a stop to be forgotten
// well before running is disputed.
const rippleWindow = 15 * time.Second

// rippleSamples is how many samples it takes to say anything.
const rippleSamples = 8

// A ripple measures how far a pressure swings both up and down, over the
// window being filled and the one before. A pressure that only falls, such as
// one trapped between check valves, does not swing.
type ripple struct {
	Filling window `json:"filling"`
	Before  window `json:"before"`
}

// A window keeps the largest rise and the largest fall in order of time.
type window struct {
	Start   time.Duration `json:"start,omitempty"`
	Samples uint32        `json:"n,omitempty"`
	Low     float32       `json:"low,omitempty"`
	High    float32       `json:"high,omitempty"`
	Rise    float32       `json:"rise,omitempty"`
	Fall    float32       `json:"fall,omitempty"`
}

func (r *ripple) add(t time.Duration, p float32) {
	switch age := t - r.Filling.Start; {
	case r.Filling.Samples == 0 || age > 2*rippleWindow:
		*r = ripple{Filling: window{Start: t}}
	case age > rippleWindow:
		r.Before, r.Filling = r.Filling, window{Start: t}
	}
	r.Filling.add(p)
}

func (w *window) add(p float32) {
	if w.Samples == 0 {
		w.Low, w.High = p, p
	}
	w.Samples++
	w.Low, w.High = min(w.Low, p), max(w.High, p)
	w.Rise, w.Fall = max(w.Rise, p-w.Low), max(w.Fall, w.High-p)
}

// swing is the peak-to-peak pressure of the ripple; ok is false until there
// are enough samples.
func (r *ripple) swing() (swing float32, ok bool) {
	return max(r.Filling.swing(), r.Before.swing()), r.Filling.Samples+r.Before.Samples >= rippleSamples
}

func (w *window) swing() float32 { return min(w.Rise, w.Fall) }
