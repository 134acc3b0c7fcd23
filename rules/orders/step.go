package orders

import "math"

// use selects orders 1 to highest, and the ripple's own multiples besides.
// Those that were fitted before start from what was found.
func (f *Fitter) use(highest int) {
	m := f.settings.Cylinders
	f.orders = f.orders[:0]
	for k := 1; k <= f.settings.Highest; k++ {
		if k <= highest || k%m == 0 {
			f.orders = append(f.orders, k)
		} else {
			f.coef[of(k)], f.coef[of(k)+1] = 0, 0
		}
	}
	f.ladder.set(f.orders)
}

// of is where in coef the cosine of order k stands; its sine comes after.
func of(k int) int { return trend + 2*(k-1) }

// columns in use with a phase of that degree: mean and trend, cosine and sine
// of each order, and what turning the phase does.
func (f *Fitter) columns(degree int) int { return trend + 2*len(f.orders) + degree }

// start fits the orders alone, all samples alike, and takes a first view of
// the noise.
func (f *Fitter) start() {
	clear(f.coef[:])
	copy(f.weight, f.even)
	f.linearize(0)
	f.step(0)
	f.compareAll()
	f.noise.begin(f)
	f.reweigh(0)
}

// linearize computes residual and steepness at every sample, and the normal
// equations for a step from there with the present weights.
func (f *Fitter) linearize(degree int) {
	f.gather()
	f.normal.reset(f.columns(degree))
	if n := len(f.orders); f.orders[n-1] == n { // none is left out
		f.normal.w.highest = n
	}
	var y, w [4]float64
	for i := range f.samples {
		row := &f.rows[i%4]
		f.derive(i, degree, row)
		if y[i%4], w[i%4] = f.residual[i], f.weight[i]; i%4 == 3 {
			f.normal.add4(&f.rows, &y, &w)
		}
	}
	n := len(f.samples)
	for i := n - n%4; i < n; i++ {
		f.normal.add(f.rows[i%4][:], f.residual[i], f.weight[i])
	}
	f.normal.multiply()
}

// A line is an order being fitted.
type line struct{ order, cos, sin float64 }

// gather collects what is needed of each order at each sample.
func (f *Fitter) gather() {
	for i, k := range f.orders {
		f.lines[i] = line{float64(k), f.coef[of(k)], f.coef[of(k)+1]}
	}
}

// model is the fitted signal at a time, less the mean of the samples, its
// slope dy/dθ and the shaft's speed in rad/s. row takes the derivatives by mean,
// trend and orders, and after them the terms of the phase, up to that degree at
// least. Call gather before.
func (f *Fitter) model(t float64, degree int, row *[mostColumn]float64) (y, slope, omega float64) {
	linear := f.columns(0)
	theta, omega := f.phase.terms(row[linear:linear+max(degree, f.phase.degree)], t)
	row[0], row[1] = 1, (t-f.phase.middle)/f.phase.half
	waves := row[trend:linear]
	harmonics(waves, f.orders, &f.ladder, theta)
	y = f.coef[0] + f.coef[1]*row[1]
	for i := range f.lines[:len(waves)/2] {
		l, cos, sin := &f.lines[i], waves[2*i], waves[2*i+1]
		y += l.cos*cos + l.sin*sin
		slope += l.order * (l.sin*cos - l.cos*sin)
	}
	return y, slope, omega
}

// derive computes residual and steepness at sample i, and the row of its
// derivatives.
func (f *Fitter) derive(i, degree int, row *[mostColumn]float64) {
	s := &f.samples[i]
	y, slope, omega := f.model(s.t, degree, row)
	turning := row[f.columns(0):f.columns(degree)]
	for j := range turning {
		turning[j] *= slope
	}
	f.compare(i, s.y, y, slope, omega)
}

// compareAll computes residual and steepness at every sample.
func (f *Fitter) compareAll() {
	f.gather()
	for i := range f.samples {
		f.derive(i, 0, &f.rows[0])
	}
}

// compare notes residual and steepness at a sample.
func (f *Fitter) compare(i int, read, y, slope, omega float64) {
	f.residual[i] = read - f.mean - y
	f.steep[i] = slope * slope * omega * omega
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
	f.normal.solve()
	linear := f.columns(0)
	for i := range trend {
		f.coef[i] += f.normal.x[i]
	}
	for j, k := range f.orders {
		f.coef[of(k)] += f.normal.x[trend+2*j]
		f.coef[of(k)+1] += f.normal.x[trend+2*j+1]
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
	f.linearize(degree)
	f.expect(degree)
	f.proceed(degree, still)
}

// proceed is converge where the first step's equations stand already, be it
// with a higher degree: those of a lower one are the first of them.
func (f *Fitter) proceed(degree int, still float64) {
	f.normal.n = f.columns(degree)
	for n := range 10 {
		if n > 0 {
			f.linearize(degree)
			f.expect(degree)
		}
		f.reweigh(degree)
		if turn := f.step(degree); turn < still && n > 0 {
			break
		}
	}
}
