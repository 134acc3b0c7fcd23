package orders

import "math"

// followRipple refines the phase on the ripple. Where the sampling rate mirrors
// the ripple near itself, the refinement has many false ends. An end that the
// index confirms all along the window is the true one. Without such, it starts
// from bent phases too, until the best end has been reached three times. An
// end that is reached less than twice, leaves much unexplained, is hardly better
// than another, or contradicts the index is not believed.
func (f *Fitter) followRipple(w *Window, beat float64) error {
	began := f.phase
	best := f.refine(w, beat)
	if !f.mirrored(w, beat, began) || f.confirmed(w, beat, best) {
		return nil
	}
	for _, degree := range [...]int{4, 8} {
		if _, ok := f.phase.fromAngles(w.angles, degree, &f.normal); ok && f.confirmed(w, beat, f.refine(w, beat)) {
			return nil
		}
	}
	return f.fromBends(w, beat, began)
}

// confirmed is whether an end explains the signal, as far as uncertain time
// stamps let it, and the index agrees with it.
func (f *Fitter) confirmed(w *Window, beat float64, end ending) bool {
	const within, sharp = 0.2, 1 // rad
	low, high := f.phase.offsets(w.angles)
	turning := 2 * math.Pi * f.phase.speed() * float64(f.settings.Cylinders) // of the ripple, rad/s
	late := turning * turning * (meanSquareHalf(w.samples)/3 + beat*beat/12)
	return low-high < within && high-low < sharp && end.left <= mostLeft+2*late
}

// fromBends looks for the end that most bent phases lead to.
func (f *Fitter) fromBends(w *Window, beat float64, began phase) error {
	f.phase = began
	best := f.refine(w, beat)
	f.spare = append(f.spare[:0], f.samples...)
	reached, second := 1, math.Inf(1)
	for i := 0; i < len(bends) && reached < 3; i++ {
		f.phase = began.bent(bends[i])
		end := f.refine(w, beat)
		switch {
		case !end.phase.differs(best.phase):
			reached++
		case end.deviance < best.deviance:
			best, second, reached = end, best.deviance, 1
			f.spare = append(f.spare[:0], f.samples...)
		default:
			second = min(second, end.deviance)
		}
	}
	f.phase, f.samples = best.phase, append(f.samples[:0], f.spare...)
	f.start()
	_, half := f.phase.offset(w.angles)
	contradicted := len(w.angles) > 0 && half >= math.Pi
	if contradicted || reached < 2 || best.left > mostLeft || second < best.deviance+clearly {
		return ErrAmbiguous
	}
	return nil
}

// drowned is whether there is an index, and ripple that hardly stands out of
// the noise, as behind a dampener: the little by which the angle is off by the
// index alone, a tenth of a radian or so, then adds less than there is.
func (f *Fitter) drowned() bool {
	const least = 0.25 // of the variance
	return f.indexed && f.noise.level*float64(len(f.samples)) > least*f.total
}

// An ending is where a refinement came to rest.
type ending struct {
	deviance float64
	left     float64 // share of the variance not explained
	phase    phase
}

// mostLeft is how much of the variance the true phase may leave unexplained
// among false ends.
const mostLeft = 0.1

// clearly is the difference in deviance that makes one ending better than
// another.
const clearly = 10

// bends are what bent phases differ by from the straight one, in radians of
// the first and second Legendre term: faster or slower, speeding up or slowing
// down.
var bends = [...][2]float64{{0, 0.5}, {0, -0.5}, {0.5, 0}, {-0.5, 0}, {0.5, 0.5}, {-0.5, -0.5}, {1, 0.5}, {-1, -0.5}}

func (p phase) bent(by [2]float64) phase {
	p.degree = max(p.degree, 3)
	p.q[1] += by[0]
	p.q[2] += by[1]
	return p
}

// refine fits the ripple from the present phase on.
func (f *Fitter) refine(w *Window, beat float64) ending {
	f.use(2)
	if beat > 0 {
		f.use(max(2, min(f.chosen, mostWithBeat)))
	}
	low := f.phase.degree
	if beat == 0 || !f.keepBeat(w, beat) {
		f.start()
		f.grow(low)
		if beat > 0 && f.searches && f.findBeat(w, beat) {
			f.grow(low)
		}
	} else {
		f.grow(low)
	}
	if beat > 0 && f.held {
		f.settle(beat, math.Mod(f.lastBeat-w.start.Seconds(), beat))
		f.converge(f.phase.degree, coarse)
	}
	return ending{
		deviance: f.deviance(w),
		left:     f.noise.level * float64(len(w.samples)) / f.total,
		phase:    f.phase,
	}
}

// mirrored is whether the sampling rate mirrors the ripple near itself. Polled
// evenly at rate r, a ripple of order 2m at speed n cannot be told from one at
// j·r/2m − n; only the jitter of the polls tells. It matters when that speed
// is one the shaft may have.
// Where the transmitter's beat is slower than the polls, it is the rate.
func (f *Fitter) mirrored(w *Window, beat float64, began phase) bool {
	rate := w.rate()
	if beat > 0 {
		rate = min(rate, 1/beat)
	}
	apart := rate / float64(2*f.settings.Cylinders) // turns per second
	speed := f.phase.speed()
	image := math.Round(2*speed/apart)*apart - speed
	return math.Abs(image-began.speed()) <= f.settings.Tolerance*began.speed()
}

// grow gives the phase, which has been fitted already, as high a degree as the
// data pay for. It reads off one step which further terms would be worth their
// two units of deviance (Akaike's criterion), fits those, some at a time, and
// at last takes off what is not worth it, down to a degree of low. The degree
// is at most half the turns, so that no speed variation within a turn, which
// belongs to the orders, is taken for wander.
func (f *Fitter) grow(low int) {
	high := min(int(f.phase.speed()*f.phase.half), len(f.samples)/8, mostPhase)
	f.converge(f.phase.degree, coarse)
	for f.phase.degree < high {
		wanted := f.wanted(high)
		if wanted == f.phase.degree {
			break
		}
		f.phase.degree = min(wanted, 2*f.phase.degree+2)
		f.proceed(f.phase.degree, coarse)
	}
	if f.trim(low) {
		f.converge(f.phase.degree, coarse)
	}
}

// wanted is the degree, up to highest, whose further terms promise the most
// beyond their cost; that of the phase when none do.
func (f *Fitter) wanted(highest int) int {
	f.linearize(highest)
	f.expect(highest)
	f.normal.solve()
	linear := f.columns(0)
	worth, best, degree := 0.0, 0.0, f.phase.degree
	for j := f.phase.degree + 1; j <= highest; j++ {
		i := linear + j - 1
		if worth += f.normal.x[i]*f.normal.x[i]/f.normal.variance(i) - 2; worth > best {
			best, degree = worth, j
		}
	}
	return degree
}

// refined is the degree up to which the phase is fitted: all of it if there is
// ripple to fit it to, none otherwise.
func (f *Fitter) refined(ripple bool) int {
	if ripple {
		return f.phase.degree
	}
	return 0
}

// trim takes off the last terms of the phase as long as they are worth less
// than they cost, down to a degree of low, and says whether it did.
func (f *Fitter) trim(low int) bool {
	f.normal.n = f.columns(f.phase.degree) // if further terms were looked at
	linear := f.columns(0)
	worth, best, degree := 0.0, 0.0, f.phase.degree
	for j := f.phase.degree; j > low; j-- {
		worth += f.phase.q[j]*f.phase.q[j]/f.normal.variance(linear+j-1) - 2
		if worth < best {
			best, degree = worth, j-1
		}
	}
	trimmed := degree < f.phase.degree
	clear(f.phase.q[degree+1:])
	f.phase.degree = degree
	return trimmed
}
