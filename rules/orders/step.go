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
}

// of is where in coef the cosine of order k stands; its sine comes after.
func of(k int) int { return trend + 2*(k-1) }

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
	copy(f.weight, f.even)
	f.linearize(0)
	f.step(0)
	f.linearize(0)
	f.noise.begin(f)
	f.reweigh()
}

// linearize computes residual and steepness at every sample, and the normal
// equations for a step from there with the present weights.
func (f *Fitter) linearize(degree int) {
	f.normal.reset(f.columns(degree))
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
}

// derive computes residual and steepness at sample i, and the row of its
// derivatives.
func (f *Fitter) derive(i, degree int, row *[mostColumn]float64) {
	s := &f.samples[i]
	theta, omega := f.phase.at(s.t)
	row[0], row[1] = 1, (s.t-f.phase.middle)/f.phase.half
	harmonics(row[trend:], f.orders, theta)
	y, slope := f.coef[0]+f.coef[1]*row[1], 0.0
	for j, k := range f.orders {
		cos, sin := row[trend+2*j], row[trend+2*j+1]
		a, b := f.coef[of(k)], f.coef[of(k)+1]
		y += a*cos + b*sin
		slope += float64(k) * (b*cos - a*sin) // dy/dθ
	}
	linear := f.columns(0)
	f.phase.basis(row[linear:linear+degree], s.t, slope)
	f.residual[i] = s.y - f.mean - y
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
	f.expect(degree)
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
	for n := range 10 {
		f.linearize(degree)
		f.reweigh()
		if turn := f.step(degree); turn < still && n > 0 {
			break
		}
	}
}
