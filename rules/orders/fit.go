package orders

import (
	"errors"
	"time"
)

// Why a window has no result.
var (
	ErrFew       = errors.New("too few samples in the window")
	ErrNoSpeed   = errors.New("no stated speed and no index")
	ErrNoRipple  = errors.New("no ripple to find the shaft angle by, and no index")
	ErrAmbiguous = errors.New("two speeds explain the ripple as well: the sampling cannot tell them apart")
	ErrFlat      = errors.New("the signal does not move")
)

// MostInflation is how many times other orders may inflate the variance of an
// order for it to be reported.
const MostInflation = 50

// fewest samples make a fit worth trying.
const fewest = 16

// rippleChance is the most false alarm chance at which ripple is believed.
const rippleChance = 1e-6

// Settings say what to look for. The zero value of a field has the meaning
// stated.
type Settings struct {
	// Cylinders is the ripple's order; the zero value means 3.
	Cylinders int
	// Highest is the highest order to fit, at most [Highest]; 0 means that.
	Highest int
	// Beat is the time between two new values of the transmitter, 0 when it
	// answers with the value of the moment. Samples count as half a beat
	// old, or exactly as old as they are where the beat can be found.
	Beat time.Duration
	// Tolerance is how far stated speed may be wrong, by itself: motor slip,
	// resolution, filter. 0 means 0.03.
	Tolerance float64
	// Wander is about how far the speed moves within a window, by itself,
	// beyond what the stated speed shows of it. 0 means 0.01.
	Wander float64
}

// A Fitter fits windows of one signal, one after the other, with the same
// memory.
type Fitter struct {
	settings  Settings
	phase     phase
	stated    phase // before it was refined
	bySpeed   phase // as the stated speed has it
	byIndex   phase // constant speed, as the index has it
	indexed   bool  // whether it has
	normal    normal
	rows      [4][mostColumn]float64     // scratch: derivatives at four samples
	orders    []int                      // being fitted
	chosen    int                        // the highest beside the ripple's in the window before
	ladder    ladder                     // of them
	lines     [Highest]line              // and what they were found to be, see gather
	coef      [trend + 2*Highest]float64 // mean, trend, then cos and sin of each order, see of
	worst     [Highest + 1]float64       // inflation of each order
	noise     noise
	mean      float64 // of the samples
	total     float64 // their sum of squares about it
	condition float64 // of the orders' scaled normal matrix
	odds      float64 // −2·log-likelihood of all beats that the time stamps allow, less that of those settled on
	held      bool    // whether the window before was on a beat
	gain      float64 // in deviance by the beat, about
	searches  bool    // whether the beat is searched for in this window
	rest      int     // windows without a search to come
	patience  int     // and how many they will be when it fails again
	nudge     float64 // which way, and how far in beats, the beat is looked for beside its last place
	lastBeat  float64 // phase of the transmitter's beat in the window before, in seconds since boot

	samples  []point   // of the window, at the times they were taken
	stamps   []point   // the same samples as they were stamped
	spare    []point   // the samples of another solution
	residual []float64 // per sample: y less the model
	steep    []float64 // per sample: dy/dt of the model, squared
	weight   []float64 // per sample: one by its variance
	even     []float64 // ones: all samples alike
	phasor   []complex128
	factor   []complex128
	powers   []float64
}

// NewFitter makes a Fitter for windows of up to that many samples.
func NewFitter(s Settings, capacity int) *Fitter {
	if s.Cylinders == 0 {
		s.Cylinders = 3
	}
	if s.Highest == 0 || s.Highest > Highest {
		s.Highest = Highest
	}
	if s.Tolerance == 0 {
		s.Tolerance = 0.03
	}
	if s.Wander == 0 {
		s.Wander = 0.01
	}
	f := &Fitter{
		settings: s, orders: make([]int, 0, Highest),
		samples: make([]point, 0, capacity), stamps: make([]point, 0, capacity), spare: make([]point, 0, capacity),
		residual: make([]float64, capacity), steep: make([]float64, capacity), weight: make([]float64, capacity),
		phasor: make([]complex128, capacity), factor: make([]complex128, capacity), powers: make([]float64, 2001),
		even: make([]float64, capacity), nudge: 1.0 / 48,
	}
	for i := range f.even {
		f.even[i] = 1
	}
	return f
}

// Fit finds the orders of a window and puts them into r. An error says why
// there are none; r is then not changed. Fit does not allocate.
func (f *Fitter) Fit(w *Window, r *Result) error {
	if len(w.samples) < fewest || len(w.samples) > cap(f.samples) {
		return ErrFew
	}
	beat := f.settings.Beat.Seconds()
	f.place(w.samples, beat, 0, true)
	if !f.center(w) {
		return ErrFlat
	}
	ripple, err := f.findPhase(w, beat)
	if err != nil {
		return err
	}
	if ripple {
		f.searches = f.patient()
		if err := f.followRipple(w, beat); err != nil {
			if ripple = !f.drowned(); ripple {
				return err
			}
			f.place(w.samples, beat, 0, true)
			f.indexPhase(w)
		}
	}
	f.chooseOrders()
	if !ripple {
		f.start()
	}
	f.converge(f.refined(ripple), fine)
	f.report(w, ripple, r)
	return nil
}

// center takes out the mean, so that a ripple of kilopascals is not computed
// as a difference of megapascals. It is false when nothing moves.
func (f *Fitter) center(w *Window) bool {
	f.phase = phase{middle: w.span() / 2, half: w.span() / 2}
	f.mean, f.total = 0, 0
	for _, s := range w.samples {
		f.mean += s.y / float64(len(w.samples))
	}
	for _, s := range w.samples {
		f.total += (s.y - f.mean) * (s.y - f.mean)
	}
	return f.total > 1e-18*f.mean*f.mean*float64(len(w.samples))
}
