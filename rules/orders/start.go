package orders

import "math"

// findPhase starts the phase, from stated speed or the index, and sets its
// slope by the ripple where there is one.
func (f *Fitter) findPhase(w *Window, beat float64) (ripple bool, err error) {
	reach, stated := 0.0, f.phase.fromSpeed(w.speeds, &f.normal)
	if stated {
		reach = f.settings.Tolerance * 2 * math.Pi * math.Abs(f.phase.speed())
	}
	bySpeed, byIndex := f.phase, f.phase
	slope, indexed := byIndex.fromAngles(w.angles, 1, &f.normal)
	if known := 4 * slope / f.phase.half; indexed && (!stated || known < reach) {
		f.phase, reach = byIndex, known
	}
	if !stated && !indexed {
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
	case !indexed:
		return false, ErrNoRipple
	}
	f.phase = bySpeed
	f.indexPhase(w, byIndex)
	return false, nil
}

// indexPhase takes the plainest phase that the index allows: the stated
// speed, else a constant speed, else a cubic.
func (f *Fitter) indexPhase(w *Window, constant phase) {
	if len(w.speeds) > 0 && f.phase.fits(w.angles) {
		return
	}
	f.phase = constant
	if wavy := constant; !constant.fits(w.angles) {
		if _, ok := wavy.fromAngles(w.angles, 3, &f.normal); ok {
			f.phase = wavy
		}
	}
}
