package orders

import "math"

// Many transmitters compute a new value on a beat of their own and answer
// every poll with the last one. What is read is then up to a beat old, and at
// a steep ripple that age, if taken for chance, costs more than all other
// noise together. But it is no chance: the beat is regular, only its phase is
// not known. So the phase is searched for, window by window, and taken over
// when it explains the signal far better than chance does.

const (
	beatPhases = 12 // phases tried at first
	beatGain   = 20 // least gain in deviance, beyond ½ per sample for the choice of beats, to believe in one
)

// place copies the samples with the times at which the transmitter took them:
// the last beat before each, when beats fall on phase, or half a beat before
// when aged. Samples of the same beat are one sample.
func (f *Fitter) place(samples []point, beat, phase float64, aged bool) {
	f.samples, f.stamps = f.samples[:0], f.stamps[:0]
	last := math.Inf(-1)
	for _, s := range samples {
		at := s.t - beat/2
		if !aged {
			at = math.Floor((s.t-phase)/beat)*beat + phase
		}
		if at > last {
			f.samples = append(f.samples, point{at, s.half, s.y})
			f.stamps = append(f.stamps, s)
			last = at
		}
	}
}

// findBeat places the samples on the beat that explains them best, if one
// does, and leaves them aged by half a beat otherwise. The shaft's phase must
// be near already. The phase of the beat in the window before is tried first;
// a transmitter's clock is steady.
func (f *Fitter) findBeat(w *Window, beat float64) bool {
	began, start := f.phase, w.start.Seconds()
	none := f.deviance(w)
	enough := beatGain + float64(len(w.samples))/2
	best, gain := 0.0, math.Inf(-1)
	consider := func(at float64) {
		if g := none - f.onBeat(w, began, beat, at); g > gain {
			best, gain = at, g
		}
	}
	if consider(math.Mod(f.lastBeat-start, beat)); gain < 2*enough {
		for i := range beatPhases {
			consider(beat * float64(i) / beatPhases)
		}
	}
	for step := beat / beatPhases / 2; step > beat/100; step /= 2 {
		middle := best
		consider(middle - step)
		consider(middle + step)
	}
	if gain < enough {
		f.phase = began
		f.place(w.samples, beat, 0, true)
		f.start()
		f.converge(began.degree, coarse)
		return false
	}
	f.lastBeat = start + best
	f.onBeat(w, began, beat, best)
	f.settle(beat, best)
	return true
}

// onBeat fits the orders with the beat at that phase and gives the deviance.
func (f *Fitter) onBeat(w *Window, began phase, beat, at float64) float64 {
	f.phase = began
	f.place(w.samples, beat, at, false)
	f.start()
	f.converge(began.degree, coarse)
	f.settle(beat, at)
	f.converge(began.degree, coarse)
	return f.deviance(w)
}

// deviance of the present fit, as if no two samples had shared a beat.
func (f *Fitter) deviance(w *Window) float64 {
	return f.noise.deviance * float64(len(w.samples)) / float64(len(f.samples))
}

// settle moves each sample to the beat, of those its uncertain time stamp
// allows, that is most likely by the present model: the one with the least
// r²/level − 2·ln(share of the uncertainty that falls on it).
func (f *Fitter) settle(beat, phase float64) {
	for i, s := range f.stamps {
		half := max(s.half, beat/50)
		first := math.Floor((s.t - half - phase) / beat)
		last := math.Floor((s.t + half - phase) / beat)
		best := math.Inf(1)
		for n := first; n <= last; n++ {
			at := n*beat + phase
			share := (min(s.t+half, at+beat) - max(s.t-half, at)) / (2 * half)
			r := s.y - f.mean - f.model(at)
			if cost := r*r/f.noise.level - 2*math.Log(share+tiny); cost < best {
				best, f.samples[i].t = cost, at
			}
		}
		f.samples[i].half = 0
	}
	f.linearize(0)
	f.reweigh()
}

// model is the fitted signal at a time, less the mean of the samples.
func (f *Fitter) model(t float64) float64 {
	var row [2 * Highest]float64
	theta, _ := f.phase.at(t)
	harmonics(row[:], f.orders, theta)
	y := f.coef[0] + f.coef[1]*(t-f.phase.middle)/f.phase.half
	for j, k := range f.orders {
		y += f.coef[of(k)]*row[2*j] + f.coef[of(k)+1]*row[2*j+1]
	}
	return y
}
