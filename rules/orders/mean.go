package orders

import "math"

// A Mean averages the amplitudes of many windows that share one angle, each
// weighed by its covariance. The zero Mean is empty.
type Mean struct {
	orders [Highest + 1]vectorMean
}

// vectorMean is the weighted mean of plane vectors as its normal equations.
type vectorMean struct {
	n          int
	re, im, ri float64 // sum of the inverse covariances
	x, y       float64 // and of them times the vectors
	square     float64 // sum of the squared vectors in their own units of error
}

// Add takes a result.
func (m *Mean) Add(r *Result) {
	for k := 1; k <= Highest; k++ {
		if r.Has(k) {
			re, im, both := r.Covariance(k)
			m.orders[k].add(r.Amplitude(k), re, im, both)
		}
	}
}

func (v *vectorMean) add(a complex128, re, im, both float64) {
	det := re*im - both*both
	if !(det > 0) {
		return
	}
	p, q, s := im/det, re/det, -both/det // the inverse
	x, y := p*real(a)+s*imag(a), s*real(a)+q*imag(a)
	v.n++
	v.re, v.im, v.ri = v.re+p, v.im+q, v.ri+s
	v.x, v.y = v.x+x, v.y+y
	v.square += real(a)*x + imag(a)*y
}

// Windows is how many results had order k.
func (m *Mean) Windows(k int) int { return m.orders[k].n }

// Amplitude is the mean amplitude of order k, and the covariance of its real
// and imaginary part. Where windows scatter more than their own errors say,
// the covariance is that of the scatter. It is 0 with infinite variance when no
// window had order k.
func (m *Mean) Amplitude(k int) (a complex128, re, im, both float64) {
	v := m.orders[k]
	det := v.re*v.im - v.ri*v.ri
	if v.n == 0 || !(det > 0) {
		return 0, math.Inf(1), math.Inf(1), 0
	}
	re, im, both = v.im/det, v.re/det, -v.ri/det
	x, y := re*v.x+both*v.y, both*v.x+im*v.y
	if v.n > 1 {
		scatter := (v.square - x*v.x - y*v.y) / float64(2*(v.n-1))
		grow := math.Max(1, scatter)
		re, im, both = re*grow, im*grow, both*grow
	}
	return complex(x, y), re, im, both
}

// Scatter is how much order k scatters between windows by what the windows'
// own errors say, as a ratio of variances: about 1 when they are true. It is
// false for fewer than two windows.
func (m *Mean) Scatter(k int) (float64, bool) {
	v := m.orders[k]
	det := v.re*v.im - v.ri*v.ri
	if v.n < 2 || !(det > 0) {
		return 0, false
	}
	x, y := (v.im*v.x-v.ri*v.y)/det, (v.re*v.y-v.ri*v.x)/det
	return (v.square - x*v.x - y*v.y) / float64(2*(v.n-1)), true
}
