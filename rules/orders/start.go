package orders

import "math"

// findPhase starts the phase, from stated speed or the index, and sets its
// slope by the ripple where there is one.
func (f *Fitter) findPhase(w *Window, beat float64) (ripple bool, err error) {
	reach, stated := 0.0, f.phase.fromSpeed(w.speeds, &f.normal)
	if stated {
		reach = f.settings.Tolerance * 2 * math.Pi * math.Abs(f.phase.speed())
	}
	f.bySpeed, f.byIndex = f.phase, f.phase
	var slope float64
	slope, f.indexed = f.byIndex.fromAngles(w.angles, 1, &f.normal)
	if known := 4 * slope / f.phase.half; f.indexed && (!stated || known < reach) {
		f.phase, reach = f.byIndex, known
	}
	if !stated && !f.indexed {
		return false, ErrNoSpeed
	}
	p := f.look(w, reach, beat)
	switch believed := p.chance < rippleChance; {
	case believed && !p.unique:
		return false, ErrAmbiguous
	case believed:
		f.phase.q[1] += p.omega * f.phase.half
		f.stated = f.phase
		return true, nil
	case !f.indexed:
		return false, ErrNoRipple
	}
	f.indexPhase(w)
	return false, nil
}

// indexPhase takes the plainest phase that the index allows: the stated
// speed, else a constant speed, else a cubic.
func (f *Fitter) indexPhase(w *Window) {
	f.phase = f.bySpeed
	if len(w.speeds) > 0 && f.phase.fits(w.angles) {
		return
	}
	f.phase = f.byIndex
	if wavy := f.byIndex; !wavy.fits(w.angles) {
		if _, ok := wavy.fromAngles(w.angles, 3, &f.normal); ok {
			f.phase = wavy
		}
	}
}
