package orders

import "math"

// A Regression finds orders where the shaft angle is known, sample by sample
// and without keeping any: the angle of a [Result] serves for the other
// signals of the same pump, such as flow, current or torque.
type Regression struct {
	orders []int
	ladder ladder
	normal normal
	n      int
	origin float64 // first sample, taken off all
	square float64 // weighted sum of squares
	sum    float64 // weighted sum
	weight float64
}

// NewRegression makes a Regression on a mean and those orders, which ascend
// and number at most [Highest].
func NewRegression(orders ...int) *Regression {
	g := &Regression{orders: orders}
	g.ladder.set(orders)
	g.Reset()
	return g
}

// Reset forgets the samples.
func (g *Regression) Reset() {
	g.n, g.square, g.sum, g.weight = 0, 0, 0, 0
	g.normal.reset(1 + 2*len(g.orders))
}

// Add takes a sample y at the angle theta. weight is one by its variance, or 1
// for all.
func (g *Regression) Add(theta, y, weight float64) {
	if g.n == 0 {
		g.origin = y
	}
	y -= g.origin
	var row [1 + 2*Highest]float64
	row[0] = 1
	harmonics(row[1:], g.orders, &g.ladder, theta)
	g.normal.add(row[:], y, weight)
	g.n++
	g.sum += weight * y
	g.square += weight * y * y
	g.weight += weight
}

// A Fit is the outcome of a [Regression].
type Fit struct {
	Samples   int
	Mean      float64
	Amplitude []complex128 // of each order, A of |A|·cos(kθ + φ)
	// Power is the share of the variance that the orders explain: the
	// standard normalisation of the periodogram with a floating mean.
	Power     float64
	Residual  float64 // weighted sum of squares left
	Condition float64 // of the scaled normal matrix
	// StandardErrors are those of real and imaginary parts of each order,
	// from the residual.
	StandardErrors [][2]float64
}

// Solve fits the samples so far. It is false while they are fewer than the
// unknowns.
func (g *Regression) Solve() (Fit, bool) {
	free := g.n - g.normal.n
	if free < 1 {
		return Fit{}, false
	}
	g.normal.solve()
	g.normal.invert()
	total := g.square - g.sum*g.sum/g.weight
	left := g.square
	for i := range g.normal.n {
		left -= g.normal.x[i] * g.normal.b[i]
	}
	left = max(0, left)
	fit := Fit{
		Samples: g.n, Mean: g.origin + g.normal.x[0], Power: 1 - left/total,
		Residual: left, Condition: g.normal.condition(),
	}
	for i := 1; i < g.normal.n; i += 2 {
		fit.Amplitude = append(fit.Amplitude, complex(g.normal.x[i], -g.normal.x[i+1]))
		fit.StandardErrors = append(fit.StandardErrors, [2]float64{
			math.Sqrt(g.normal.inv[i][i] * left / float64(free)),
			math.Sqrt(g.normal.inv[i+1][i+1] * left / float64(free)),
		})
	}
	return fit, true
}
