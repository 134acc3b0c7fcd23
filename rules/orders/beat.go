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
	beatGain   = 20 // least gain in deviance, beyond 0.05 per sample for the choice of beats, to believe in one
	mostRest   = 15 // windows without a search after many in vain

	// mostWithBeat is the highest order, beside the ripple's, that is fitted while
	// the beat is looked for: what heads add there would pass for chance, and hide
	// the beat.
	mostWithBeat = 6

	leastNudge, mostNudge = 1.0 / 200, 1.0 / 24 // steps of the phase from window to window, in beats
)

// place copies the samples with the times at which the transmitter took them:
// the last beat before each, when beats fall on phase, or half a beat before
// when aged. Samples of the same beat are one sample.
func (f *Fitter) place(samples []point, beat, phase float64, aged bool) {
	f.samples, f.stamps, f.odds = f.samples[:0], f.stamps[:0], 0
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
// be near already.
func (f *Fitter) findBeat(w *Window, beat float64) bool {
	began, start := f.phase, w.start.Seconds()
	none := f.deviance(w)
	best, least := 0.0, math.Inf(1)
	for i := range beatPhases {
		at := beat * float64(i) / beatPhases
		f.phase = began
		f.place(w.samples, beat, at, false)
		f.start()
		f.settle(beat, at)
		if d := f.deviance(w); d < least {
			best, least = at, d
		}
	}
	least = math.Inf(1)
	consider := func(at float64) {
		if d := f.onBeat(w, began, beat, at); d < least {
			best, least = at, d
		}
	}
	consider(best)
	for step := beat / beatPhases / 2; step > beat/100; step /= 2 {
		middle := best
		consider(middle - step)
		consider(middle + step)
	}
	if f.held = none-least >= enough(w); !f.held {
		f.rest = f.patience
		f.phase = began
		f.place(w.samples, beat, 0, true)
		f.start()
		f.converge(began.degree, coarse)
		return false
	}
	f.lastBeat, f.gain, f.patience = start+best, none-least, 0
	f.onBeat(w, began, beat, best)
	return true
}

// patient is whether the beat is searched for in the next window: less and
// less often where it was not found.
func (f *Fitter) patient() bool {
	if f.held {
		return true
	}
	if f.rest > 0 {
		f.rest--
		return false
	}
	f.patience = min(2*f.patience+1, mostRest)
	return true
}

// enough is the least gain in deviance to believe in a beat.
func enough(w *Window) float64 { return beatGain + 0.05*float64(len(w.samples)) }

// keepBeat places the samples on the beat of the window before, or a little
// beside it, when it still explains them as well: a transmitter's clock is steady.
// It saves the search. The phase then has a degree of 3 at least.
func (f *Fitter) keepBeat(w *Window, beat float64) bool {
	if !f.held {
		return false
	}
	began, start := f.phase, w.start.Seconds()
	f.phase.degree = max(began.degree, 3)
	f.start()
	f.converge(f.phase.degree, coarse)
	none := f.deviance(w)
	last := math.Mod(f.lastBeat-start, beat)
	least := f.moveBeat(w, beat, last)
	gain := none - least
	if gain < max(enough(w), f.gain/2) {
		f.phase = began
		f.place(w.samples, beat, 0, true)
		return false
	}
	f.gain += (gain - f.gain) / 8
	least = f.moveBeat(w, beat, last) // once more, for the model was that of aged samples
	if beside := f.moveBeat(w, beat, last+f.nudge*beat); beside < least {
		last += f.nudge * beat
		f.nudge = math.Copysign(min(math.Abs(f.nudge)*1.5, mostNudge), f.nudge)
	} else {
		f.nudge = -math.Copysign(max(math.Abs(f.nudge)/2, leastNudge), f.nudge)
		f.moveBeat(w, beat, last)
	}
	f.lastBeat = start + last
	return true
}

// onBeat fits the orders anew with the beat at that phase and gives the
// deviance.
func (f *Fitter) onBeat(w *Window, began phase, beat, at float64) float64 {
	f.phase = began
	f.place(w.samples, beat, at, false)
	f.start()
	f.settle(beat, at)
	f.converge(began.degree, coarse)
	return f.moveBeat(w, beat, at)
}

// moveBeat fits the orders on from where they are with the beat at that phase
// and gives the deviance.
func (f *Fitter) moveBeat(w *Window, beat, at float64) float64 {
	f.place(w.samples, beat, at, false)
	f.settle(beat, at)
	f.converge(f.phase.degree, coarse)
	return f.deviance(w)
}

// deviance of the present fit, as if no two samples had shared a beat.
func (f *Fitter) deviance(w *Window) float64 {
	return (f.noise.deviance + f.odds) * float64(len(w.samples)) / float64(len(f.samples))
}

// settle moves each sample to the beat, of those its uncertain time stamp
// allows, that is most likely by the present model.
func (f *Fitter) settle(beat, phase float64) {
	f.gather()
	chances := logSum{mantissa: 1}
	for i, s := range f.stamps {
		half := max(s.half, beat/50)
		first := math.Floor((s.t - half - phase) / beat)
		last := math.Floor((s.t + half - phase) / beat)
		likeliest, best := 0.0, math.Inf(1) // the likeliest one's share and squared miss
		all := 0.0                          // the likelihood of all by that one's without its share
		for n := first; n <= last; n++ {
			at := n*beat + phase
			share := (min(s.t+half, at+beat) - max(s.t-half, at)) / (2 * half)
			if share <= 0 {
				continue
			}
			y, slope, omega := f.model(at, 0, &f.rows[0])
			r := s.y - f.mean - y
			miss := r * r / f.noise.level
			by := math.Exp((best - miss) / 2)
			if share*by > likeliest {
				all *= math.Exp((miss - best) / 2)
				likeliest, best, by = share, miss, 1
				f.samples[i].t = at
				f.compare(i, s.y, y, slope, omega)
			}
			all += share * by
		}
		f.samples[i].half = 0
		chances.add(all + tiny)
	}
	f.odds = -2 * chances.value()
	f.reweigh(0)
}
