package orders

import "math"

// Highest is the highest order that is fitted.
const Highest = 12

const (
	trend      = 2  // columns for the mean and its slope
	mostPhase  = 20 // highest degree of the phase polynomial
	mostColumn = trend + 2*Highest + mostPhase
)

// ridge is added to the scaled normal matrix, whose diagonal is 1. It leaves
// what the data determine as it is, and gives what they do not determine a
// variance of 1/ridge instead of a division by nothing.
const ridge = 1e-12

// A normal is a weighted least-squares problem as its normal equations
// a·x = b, built row by row.
type normal struct {
	n   int                             // columns in use
	w   waves                           // those that are cosines and sines
	a   [mostColumn][mostColumn]float64 // lower triangle
	b   [mostColumn]float64             //
	inv [mostColumn][mostColumn]float64 // after invert: covariance of x
	x   [mostColumn]float64             // after solve: the solution
	vif [mostColumn]float64             // after invert: variance inflation, 1 when orthogonal
	l   [mostColumn][mostColumn]float64 // scratch: Cholesky factor, then its inverse
	d   [mostColumn]float64             // scratch: scale of each column
}

func (m *normal) reset(columns int) {
	m.n, m.w = columns, waves{}
	for i := range columns {
		clear(m.a[i][:i+1])
		m.b[i] = 0
	}
}

// add takes one observation y = row·x of weight w, the inverse of its
// variance.
func (m *normal) add(row []float64, y, w float64) {
	for i, ri := range row[:m.n] {
		wr := w * ri
		m.b[i] += wr * y
		a := m.a[i][:m.w.multiplied(i)]
		for j, rj := range row[:len(a)] {
			a[j] += wr * rj
		}
	}
	if m.w.highest > 0 {
		m.w.add(row, w)
	}
}

// add4 takes four observations at once, which costs half as much as four
// times one.
func (m *normal) add4(rows *[4][mostColumn]float64, y, w *[4]float64) {
	n := m.n
	r0, r1, r2, r3 := rows[0][:n], rows[1][:n], rows[2][:n], rows[3][:n]
	for i := range n {
		w0, w1, w2, w3 := w[0]*r0[i], w[1]*r1[i], w[2]*r2[i], w[3]*r3[i]
		m.b[i] += w0*y[0] + w1*y[1] + w2*y[2] + w3*y[3]
		a := m.a[i][:i+1]
		if m.w.highest > 0 {
			a = a[:m.w.multiplied(i)]
		}
		s0, s1, s2, s3 := r0[:len(a)], r1[:len(a)], r2[:len(a)], r3[:len(a)]
		for j := range a {
			a[j] += w0*s0[j] + w1*s1[j] + w2*s2[j] + w3*s3[j]
		}
	}
	if m.w.highest > 0 {
		for i := range rows {
			m.w.add(rows[i][:], w[i])
		}
	}
}

// What follows goes along the rows, so that no sum waits for the one before.

// solve fills x. It never fails: see ridge.
func (m *normal) solve() {
	m.factor()
	for i := range m.n { // L·z = b
		sum := m.b[i] / m.d[i]
		for j, lj := range m.l[i][:i] {
			sum -= lj * m.x[j]
		}
		m.x[i] = sum / m.l[i][i]
	}
	for i := m.n - 1; i >= 0; i-- { // Lᵀ·x = z
		m.x[i] /= m.l[i][i]
		subtract(m.x[:i], m.x[i], m.l[i][:i])
	}
	for i := range m.n {
		m.x[i] /= m.d[i]
	}
}

// subtract takes factor times one row off another.
func subtract(row []float64, factor float64, other []float64) {
	other = other[:len(row)]
	for j := range row {
		row[j] -= factor * other[j]
	}
}

// variance is that of x[i]. Call it after solve and before invert.
func (m *normal) variance(i int) float64 {
	var column [mostColumn]float64 // of L⁻¹
	column[i] = 1 / m.l[i][i]
	sum := column[i] * column[i]
	for k := i + 1; k < m.n; k++ {
		c := 0.0
		for j, lj := range m.l[k][i:k] {
			c -= lj * column[i+j]
		}
		column[k] = c / m.l[k][k]
		sum += column[k] * column[k]
	}
	return sum / (m.d[i] * m.d[i])
}

// invert fills inv and vif. Call it after solve.
func (m *normal) invert() {
	m.invertFactor()
	for i := range m.n {
		clear(m.inv[i][:i+1])
	}
	for k := range m.n { // (LLᵀ)⁻¹ = L⁻ᵀL⁻¹
		row := m.l[k][:k+1]
		for i, lk := range row {
			subtract(m.inv[i][:i+1], -lk, row)
		}
	}
	for i := range m.n {
		m.vif[i] = m.inv[i][i]
		for j := range i + 1 {
			m.inv[i][j] /= m.d[i] * m.d[j]
			m.inv[j][i] = m.inv[i][j]
		}
	}
}

// factor makes l the Cholesky factor of the scaled matrix.
func (m *normal) factor() {
	var scale, column [mostColumn]float64
	for i := range m.n {
		m.d[i] = math.Sqrt(m.a[i][i])
		if m.d[i] == 0 {
			m.d[i] = 1
		}
		scale[i] = 1 / m.d[i]
		for j, a := range m.a[i][:i+1] {
			m.l[i][j] = a * scale[i] * scale[j]
		}
		m.l[i][i] += ridge
	}
	for j := range m.n {
		root := math.Sqrt(max(m.l[j][j], ridge))
		m.l[j][j] = root
		for i := j + 1; i < m.n; i++ {
			column[i] = m.l[i][j] / root
			m.l[i][j] = column[i]
			subtract(m.l[i][j+1:i+1], column[i], column[j+1:])
		}
	}
}

// invertFactor makes l its own inverse.
func (m *normal) invertFactor() {
	var row [mostColumn]float64
	for i := range m.n {
		clear(row[:i])
		for k, lk := range m.l[i][:i] {
			subtract(row[:k+1], lk, m.l[k][:])
		}
		one := 1 / m.l[i][i]
		for j, sum := range row[:i] {
			m.l[i][j] = sum * one
		}
		m.l[i][i] = one
	}
}

// condition is the 1-norm condition number of the scaled matrix: 1 when all
// columns are orthogonal. Call it after invert.
func (m *normal) condition() float64 {
	norm, inverse := 0.0, 0.0
	for i := range m.n {
		a, v := 0.0, 0.0
		for j := range m.n {
			lo, hi := min(i, j), max(i, j)
			s := m.d[i] * m.d[j]
			a += math.Abs(m.a[hi][lo]) / s
			v += math.Abs(m.inv[i][j]) * s
		}
		norm, inverse = max(norm, a), max(inverse, v)
	}
	return norm * inverse
}
