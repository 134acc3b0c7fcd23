package orders

import (
	"errors"
	"math"
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
	normal    normal
	orders    []int                      // being fitted
	coef      [trend + 2*Highest]float64 // mean, trend, then cos and sin of each of orders
	worst     [Highest + 1]float64       // inflation of each order
	noise     noise
	mean      float64 // of the samples
	total     float64 // their sum of squares about it
	condition float64 // of the orders' scaled normal matrix
	lastBeat  float64 // phase of the transmitter's beat in the window before, in seconds since boot

	samples  []point   // of the window, at the times they were taken
	stamps   []point   // the same samples as they were stamped
	spare    []point   // the samples of another solution
	residual []float64 // per sample: y less the model
	steep    []float64 // per sample: dy/dt of the model, squared
	weight   []float64 // per sample: one by its variance
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
	return &Fitter{
		settings: s, orders: make([]int, 0, Highest),
		samples: make([]point, 0, capacity), stamps: make([]point, 0, capacity), spare: make([]point, 0, capacity),
		residual: make([]float64, capacity), steep: make([]float64, capacity), weight: make([]float64, capacity),
		phasor: make([]complex128, capacity), factor: make([]complex128, capacity), powers: make([]float64, 2001),
	}
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
		if err := f.followRipple(w, beat); err != nil {
			return err
		}
	}
	f.chooseOrders()
	f.start()
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

// followRipple refines the phase on the ripple. Where the sampling rate mirrors
// the ripple near itself, the refinement has many false ends: it then starts
// from bent phases too, until the best end has been reached three times. An
// end that is reached less than twice, leaves much unexplained, is hardly better
// than another, or contradicts the index is not believed.
func (f *Fitter) followRipple(w *Window, beat float64) error {
	began := f.phase
	best := f.refine(w, beat)
	if !f.mirrored(w, began) {
		return nil
	}
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
	_, half := f.phase.offset(w.angles)
	contradicted := len(w.angles) > 0 && half >= math.Pi
	if contradicted || reached < 2 || best.left > mostLeft || second < best.deviance+clearly {
		return ErrAmbiguous
	}
	return nil
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
	f.grow()
	if beat > 0 && f.findBeat(w, beat) {
		f.grow()
	}
	return ending{
		deviance: f.noise.deviance * float64(len(w.samples)) / float64(len(f.samples)),
		left:     f.noise.level * float64(len(w.samples)) / f.total,
		phase:    f.phase,
	}
}

// mirrored is whether the sampling rate mirrors the ripple near itself. Polled
// evenly at rate r, a ripple of order 2m at speed n cannot be told from one at
// j·r/2m − n; only the jitter of the polls tells. It matters when that speed
// is one the shaft may have.
func (f *Fitter) mirrored(w *Window, began phase) bool {
	apart := w.rate() / float64(2*f.settings.Cylinders) // turns per second
	speed := f.phase.speed()
	image := math.Round(2*speed/apart)*apart - speed
	return math.Abs(image-began.speed()) <= f.settings.Tolerance*began.speed()
}

// use selects orders 1 to highest, and the ripple's own multiples besides.
func (f *Fitter) use(highest int) {
	m := f.settings.Cylinders
	f.orders = f.orders[:0]
	for k := 1; k <= f.settings.Highest; k++ {
		if k <= highest || k%m == 0 {
			f.orders = append(f.orders, k)
		}
	}
}

// columns in use with a phase of that degree: mean and trend, cosine and sine
// of each order, and what turning the phase does.
func (f *Fitter) columns(degree int) int { return trend + 2*len(f.orders) + degree }

// harmonics fills row with cos kθ, sin kθ for each of the orders, which
// ascend, by multiplying up exp(iθ).
func harmonics(row []float64, orders []int, theta float64) {
	sin, cos := math.Sincos(theta)
	c, s, at := 1.0, 0.0, 0
	for i, k := range orders {
		for ; at < k; at++ {
			c, s = c*cos-s*sin, c*sin+s*cos
		}
		row[2*i], row[2*i+1] = c, s
	}
}

// start fits the orders alone, all samples alike, and takes a first view of
// the noise.
func (f *Fitter) start() {
	clear(f.coef[:])
	for i := range f.samples {
		f.weight[i] = 1
	}
	f.linearize(0)
	f.step(0)
	f.linearize(0)
	f.noise.begin(f)
	f.reweigh()
}

// linearize computes residual and steepness at every sample, and the normal
// equations for a step from there with the present weights.
func (f *Fitter) linearize(degree int) {
	var row [mostColumn]float64
	row[0] = 1
	linear := f.columns(0)
	f.normal.reset(linear + degree)
	for i, s := range f.samples {
		theta, omega := f.phase.at(s.t)
		row[1] = (s.t - f.phase.middle) / f.phase.half
		harmonics(row[trend:], f.orders, theta)
		y, slope := f.coef[0]+f.coef[1]*row[1], 0.0
		for j, k := range f.orders {
			n := trend + 2*j
			y += f.coef[n]*row[n] + f.coef[n+1]*row[n+1]
			slope += float64(k) * (f.coef[n+1]*row[n] - f.coef[n]*row[n+1]) // dy/dθ
		}
		f.phase.basis(row[linear:linear+degree], s.t, slope)
		f.residual[i] = s.y - f.mean - y
		f.steep[i] = slope * slope * omega * omega
		f.normal.add(row[:], f.residual[i], f.weight[i])
	}
}

// expect adds to the normal equations what is known of the phase beforehand:
// term j differs from the stated by about what a speed error of Wander that
// changes sign j times in the window makes of it.
func (f *Fitter) expect(degree int) {
	linear := f.columns(0)
	for j := 2; j <= degree; j++ {
		scale := f.settings.Wander * f.stated.q[1] / float64(j)
		f.normal.a[linear+j-1][linear+j-1] += 1 / (scale * scale)
		f.normal.b[linear+j-1] += (f.stated.q[j] - f.phase.q[j]) / (scale * scale)
	}
}

// step solves the normal equations and moves there: one Gauss–Newton step. It
// returns the most it turned the phase by, in radians.
func (f *Fitter) step(degree int) (turn float64) {
	f.expect(degree)
	f.normal.solve()
	linear := f.columns(0)
	for j := range linear {
		f.coef[j] += f.normal.x[j]
	}
	for j, dq := range f.normal.x[linear : linear+degree] {
		f.phase.q[j+1] += dq
		turn += math.Abs(dq) // |P_j| ≤ 1
	}
	return turn
}

// How still the phase must stand, in radians.
const (
	coarse = 0.02
	fine   = 1e-3
)

// converge repeats steps until a step turns the phase, up to that degree, by
// less than still. There are two steps at least, for the weights.
func (f *Fitter) converge(degree int, still float64) {
	for n := range 10 {
		f.linearize(degree)
		f.reweigh()
		if turn := f.step(degree); turn < still && n > 0 {
			break
		}
	}
}

// grow gives the phase as high a degree as the data pay for. It raises the
// degree in stages to one far too high, reads off which terms are worth their
// two units of deviance (Akaike's criterion), and fits again without the
// others. The degree is at most half the turns, so that no speed variation
// within a turn, which belongs to the orders, is taken for wander.
func (f *Fitter) grow() {
	low := f.phase.degree
	high := max(low, min(int(f.phase.speed()*f.phase.half), len(f.samples)/8, mostPhase))
	f.start()
	f.converge(low, coarse)
	best, least := f.phase, f.noise.deviance+2*float64(low)
	for _, degree := range [...]int{3, 8, high} {
		if degree <= f.phase.degree || degree > high {
			continue
		}
		f.phase.degree = degree
		f.converge(degree, coarse)
		if cost := f.noise.deviance + 2*float64(degree); cost < least {
			best, least = f.phase, cost
		}
	}
	if best.degree < f.phase.degree {
		f.phase = best
		f.converge(best.degree, coarse)
	}
	if f.trim(low) {
		f.converge(f.phase.degree, coarse)
	}
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
	f.normal.invert()
	linear := f.columns(0)
	worth, best, degree := 0.0, 0.0, f.phase.degree
	for j := f.phase.degree; j > low; j-- {
		worth += f.phase.q[j]*f.phase.q[j]/f.normal.inv[linear+j-1][linear+j-1] - 2
		if worth < best {
			best, degree = worth, j-1
		}
	}
	trimmed := degree < f.phase.degree
	clear(f.phase.q[degree+1:])
	f.phase.degree = degree
	return trimmed
}
