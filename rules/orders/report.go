package orders

import "math"

// sets are the highest orders tried, from the most to the least.
var sets = [...]int{Highest, 9, 6, 4, 2}

// chooseOrders takes the most orders that the sampling tells apart: besides
// the ripple's own multiples, as many as leave orders 1, 2 and the ripple's
// well determined. An order that stays inseparable is fitted all the same, but
// not reported.
func (f *Fitter) chooseOrders() {
	f.chosen = 0
	const well = 10 // inflation of the variance
	for _, highest := range sets {
		f.use(min(highest, f.settings.Highest))
		if f.columns(f.phase.degree) > len(f.samples)/2 && highest > 2 {
			continue
		}
		f.measure(0)
		if max(f.worst[1], f.worst[2], f.worst[f.settings.Cylinders]) <= well {
			f.chosen = highest
			return
		}
	}
}

// measure computes the inflation of all orders: that of the worse of its two
// columns, for equal weights, with a phase of that degree being fitted too.
func (f *Fitter) measure(degree int) {
	weight := f.weight
	f.weight = f.even
	f.linearize(degree)
	f.weight = weight
	f.normal.factor()
	f.normal.invert()
	for k := range f.worst {
		f.worst[k] = math.Inf(1)
	}
	for i, k := range f.orders {
		f.worst[k] = max(f.normal.vif[trend+2*i], f.normal.vif[trend+2*i+1])
	}
	f.condition = f.normal.condition()
}

// report puts the fit into r. The normal equations are those of the last
// step, with the final weights but for its last small change.
func (f *Fitter) report(w *Window, ripple bool, r *Result) {
	*r = Result{
		Start: w.start, End: w.start + seconds(w.span()), Samples: len(f.samples),
		Speed: f.phase.speed(), Spread: f.phase.spread(), Mean: f.mean + f.coef[0],
		Level: math.Sqrt(f.noise.level), TimeError: math.Sqrt(f.noise.clock + f.noise.share*meanSquareHalf(f.samples)/3),
		Ripple: ripple, phase: f.phase,
	}
	f.normal.invert()
	for i, k := range f.orders {
		n := trend + 2*i
		r.amplitude[k] = complex(f.coef[of(k)], -f.coef[of(k)+1])
		for j, l := range f.orders {
			f.covariance(r, k, l, n, trend+2*j)
		}
	}
	f.measure(f.refined(ripple))
	r.Condition = f.condition
	for _, k := range f.orders {
		if r.inflation[k] = f.worst[k]; r.inflation[k] <= MostInflation {
			r.reported |= 1 << k
		}
	}
	r.Index, r.IndexHalf = f.phase.offset(w.angles)
}

// covariance copies a block of the inverse normal matrix. The imaginary part
// of an amplitude is minus the coefficient of the sine.
func (f *Fitter) covariance(r *Result, k, l, row, col int) {
	i, j := 2*(k-1), 2*(l-1)
	r.cov[i][j] = f.normal.inv[row][col]
	r.cov[i][j+1] = -f.normal.inv[row][col+1]
	r.cov[i+1][j] = -f.normal.inv[row+1][col]
	r.cov[i+1][j+1] = f.normal.inv[row+1][col+1]
}

func meanSquareHalf(samples []point) float64 {
	sum := 0.0
	for _, s := range samples {
		sum += s.half * s.half
	}
	return sum / float64(len(samples))
}
