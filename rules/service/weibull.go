package service

import (
	"errors"
	"fmt"
	"math"
)

// A Span is how long one part has lasted, in any unit: until it failed, or
// until it was looked at last and had not (right-censored).
type Span struct {
	Age    float64 // above 0
	Failed bool
}

// A Weibull is a two-parameter Weibull distribution of lives fitted by maximum
// likelihood, F(t) = 1 − exp(−(t/Life)^Shape).
type Weibull struct {
	Shape float64 `json:"shape"`
	Life  float64 `json:"characteristic_life"` // by when 63.2 % have failed, in the unit of the spans

	LogLikelihood float64 `json:"log_likelihood"`
	Failures      int     `json:"failures"`
	Suspended     int     `json:"suspensions"`

	covariance [2][2]float64 // of ln Shape and ln Life, from the observed information
}

// ErrNoFailures means that nothing failed: there is nothing to fit.
var ErrNoFailures = errors.New("no part failed")

// FitWeibull solves the likelihood equation for the shape,
//
//	Σ tᵇ ln t / Σ tᵇ − 1/b − mean over failures of ln t = 0,
//
// sums over all spans, and from it the characteristic life (Σ tᵇ / r)^(1/b) of
// r failures (NIST/SEMATECH e-Handbook 8.4.1.3).
func FitWeibull(spans []Span) (Weibull, error) {
	w := Weibull{}
	largest, mean := 0.0, 0.0
	for i, s := range spans {
		if !(s.Age > 0) || math.IsInf(s.Age, 0) {
			return w, fmt.Errorf("span %d: %v is no age; it must be above 0", i, s.Age)
		}
		largest = math.Max(largest, s.Age)
		if s.Failed {
			w.Failures++
			mean += math.Log(s.Age)
		}
	}
	w.Suspended = len(spans) - w.Failures
	if w.Failures == 0 {
		return w, ErrNoFailures
	}
	mean = mean/float64(w.Failures) - math.Log(largest)
	shape, err := solve(func(b float64) float64 {
		s0, s1, _ := moments(spans, b, largest)
		return s1/s0 - 1/b - mean
	})
	if err != nil {
		return w, err
	}
	s0, _, _ := moments(spans, shape, largest)
	w.Shape = shape
	w.Life = largest * math.Pow(s0/float64(w.Failures), 1/shape)
	w.inform(spans)
	return w, nil
}

// moments gives the sums of xᵇ, xᵇ ln x and xᵇ ln² x of ages x as shares of
// the largest, so that no power overflows.
func moments(spans []Span, b, largest float64) (s0, s1, s2 float64) {
	for _, s := range spans {
		l := math.Log(s.Age / largest)
		p := math.Exp(b * l)
		s0, s1, s2 = s0+p, s1+p*l, s2+p*l*l
	}
	return s0, s1, s2
}

// Shapes are looked for between these: parts whose ages agree to four digits
// have no shape that numbers could tell.
const (
	leastShape = 0.01
	mostShape  = 10_000
)

// solve finds the zero of a rising function by halving the logarithm: slow and
// sure, as the heavily censored cases need it.
func solve(f func(float64) float64) (float64, error) {
	low, high := math.Log(leastShape), math.Log(mostShape)
	if f(leastShape) > 0 || f(mostShape) < 0 {
		return 0, errors.New("the ages of the failures have no spread that a shape could be told from")
	}
	for range 80 {
		if mid := (low + high) / 2; f(math.Exp(mid)) > 0 {
			high = mid
		} else {
			low = mid
		}
	}
	return math.Exp((low + high) / 2), nil
}

// inform works out the likelihood and what its curvature says of the
// parameters, in ln Shape and ln Life. With z = b·ln(t/η) the log-likelihood
// is Σ over failures of (ln b + z − ln t) − Σ eᶻ.
func (w *Weibull) inform(spans []Span) {
	var i00, i01, i11 float64
	for _, s := range spans {
		z := w.Shape * math.Log(s.Age/w.Life)
		e, d := math.Exp(z), 0.0
		if s.Failed {
			d = 1
			w.LogLikelihood += math.Log(w.Shape) + z - math.Log(s.Age)
		}
		w.LogLikelihood -= e
		// minus the second derivatives
		i00 += e*(z+z*z) - d*z
		i01 -= w.Shape * (e*(1+z) - d)
		i11 += w.Shape * w.Shape * e
	}
	det := i00*i11 - i01*i01
	w.covariance = [2][2]float64{{i11 / det, -i01 / det}, {-i01 / det, i00 / det}}
}

// AIC is Akaike's criterion, 2k − 2 ln L with two parameters.
func (w *Weibull) AIC() float64 { return 4 - 2*w.LogLikelihood }

// ShapeError is the standard error of the shape.
func (w *Weibull) ShapeError() float64 { return w.Shape * math.Sqrt(w.covariance[0][0]) }

// By gives the age by which that share has failed: 0.1 gives B10.
func (w *Weibull) By(share float64) float64 {
	return w.Life * math.Pow(-math.Log1p(-share), 1/w.Shape)
}

// Survives is the chance that a part of that age lasts until another.
func (w *Weibull) Survives(until, age float64) float64 {
	return math.Exp(math.Pow(age/w.Life, w.Shape) - math.Pow(until/w.Life, w.Shape))
}

// Mean is the mean life, η·Γ(1 + 1/b).
func (w *Weibull) Mean() float64 { return w.Life * math.Gamma(1+1/w.Shape) }

// Bounds are a two-sided confidence interval.
type Bounds struct {
	Low  float64 `json:"low"`
	High float64 `json:"high"`
}

// normal95 is the 95 % point of the normal distribution: two-sided bounds of
// 90 %.
const normal95 = 1.6449

// ByBounds gives 90 % bounds of the age by which that share has failed, from
// the curvature of the likelihood, normal in the logarithm (W. Nelson, Applied
// Life Data Analysis, 1982, ch. 8).
func (w *Weibull) ByBounds(share float64) Bounds {
	// ln t = ln η + c/b, c = ln(−ln(1−share)); d/d ln b = −c/b, d/d ln η = 1
	c := -math.Log(-math.Log1p(-share)) / w.Shape
	v := &w.covariance
	return bounds(w.By(share), c*c*v[0][0]+2*c*v[0][1]+v[1][1])
}

// LifeBounds gives 90 % bounds of the characteristic life.
func (w *Weibull) LifeBounds() Bounds { return bounds(w.Life, w.covariance[1][1]) }

// ShapeBounds gives 90 % bounds of the shape.
func (w *Weibull) ShapeBounds() Bounds { return bounds(w.Shape, w.covariance[0][0]) }

func bounds(x, variance float64) Bounds {
	f := math.Exp(normal95 * math.Sqrt(math.Max(variance, 0)))
	return Bounds{x / f, x * f}
}
