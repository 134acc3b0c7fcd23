package diagnosis

import "math"

func ln(x float64) float64  { return math.Log(x) }
func abs(x float64) float64 { return math.Abs(x) }

// logSum is ln Σ exp, kept free of overflow. The zero logSum is empty.
type logSum struct {
	top, sum float64
	any      bool
}

func (s *logSum) add(x float64) {
	switch {
	case math.IsInf(x, -1) || math.IsNaN(x):
	case !s.any:
		s.top, s.sum, s.any = x, 1, true
	case x > s.top:
		s.sum, s.top = s.sum*math.Exp(s.top-x)+1, x
	default:
		s.sum += math.Exp(x - s.top)
	}
}

func (s *logSum) value() float64 {
	if !s.any {
		return math.Inf(-1)
	}
	return s.top + math.Log(s.sum)
}

// normal is ln of the normal density.
func normal(x, mean, variance float64) float64 {
	d := x - mean
	return -0.5*d*d/variance - 0.5*math.Log(2*math.Pi*variance)
}

// plane is ln of the density of a vector with that variance of each part.
func plane(d, mean complex128, variance float64) float64 {
	e := d - mean
	return -0.5*(real(e)*real(e)+imag(e)*imag(e))/variance - math.Log(2*math.Pi*variance)
}

// ring is ln of the density of a vector whose mean has a known size and an
// unknown direction: plane averaged over all directions.
func ring(d, mean float64, variance float64) float64 {
	return -0.5*(d*d+mean*mean)/variance - math.Log(2*math.Pi*variance) + logBessel(d*mean/variance)
}

// logBessel is ln I₀(x) for x ≥ 0 (Abramowitz and Stegun 9.8.1, 9.8.2).
func logBessel(x float64) float64 {
	if x < 3.75 {
		t := (x / 3.75) * (x / 3.75)
		return math.Log(1 + t*(3.5156229+t*(3.0899424+t*(1.2067492+t*(0.2659732+t*(0.0360768+t*0.0045813))))))
	}
	t := 3.75 / x
	return x - 0.5*math.Log(x) + math.Log(0.39894228+t*(0.01328592+t*(0.00225319+t*(-0.00157565+
		t*(0.00916281+t*(-0.02057706+t*(0.02635537+t*(-0.01647633+t*0.00392377))))))))
}
