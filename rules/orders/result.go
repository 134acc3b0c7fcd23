package orders

import (
	"math"
	"math/cmplx"
	"time"
)

// A Result is what was found in one window. Angles count from the window's
// mean angle unless a [Track] or [Result.Turn] has moved them.
type Result struct {
	Start, End time.Duration // of the samples, since boot
	Samples    int
	Speed      float64 // mean speed, turns per second
	Spread     float64 // range of the speed in the window, by its mean
	Mean       float64 // of the signal
	Level      float64 // standard deviation of a sample where the signal is flat
	TimeError  float64 // standard deviation of the time stamps, in seconds, as the residuals show it
	Condition  float64 // of the scaled normal matrix of the orders, 1 at best
	Ripple     bool    // whether the angle was refined on the ripple

	// Index is the angle to add so that angles count from the index mark,
	// and IndexHalf half the width of the range it may have; π or more when
	// there is no index.
	Index, IndexHalf float64

	reported  uint16 // bit k: order k is identifiable
	amplitude [Highest + 1]complex128
	inflation [Highest + 1]float64
	cov       [2 * Highest][2 * Highest]float64 // of real and imaginary parts
	phase     phase
	turned    float64
}

// Has is whether order k was reported: fitted, and told apart from all others.
func (r *Result) Has(k int) bool { return k >= 1 && k <= Highest && r.reported&(1<<k) != 0 }

// Amplitude is the complex amplitude of order k, 0 if it is left out.
func (r *Result) Amplitude(k int) complex128 {
	if !r.Has(k) {
		return 0
	}
	return r.amplitude[k]
}

// Covariance is that of the real and imaginary parts of order k: variance of
// the real part, of the imaginary part, and their covariance. Infinite if the
// order is left out.
func (r *Result) Covariance(k int) (re, im, both float64) {
	if !r.Has(k) {
		return math.Inf(1), math.Inf(1), 0
	}
	i := 2 * (k - 1)
	return r.cov[i][i], r.cov[i+1][i+1], r.cov[i][i+1]
}

// CrossCovariance is the covariance of real and imaginary parts of order k
// with those of order l, as [re re, re im, im re, im im]. 0 for an order left
// out.
func (r *Result) CrossCovariance(k, l int) [4]float64 {
	if !r.Has(k) || !r.Has(l) {
		return [4]float64{}
	}
	i, j := 2*(k-1), 2*(l-1)
	return [4]float64{r.cov[i][j], r.cov[i][j+1], r.cov[i+1][j], r.cov[i+1][j+1]}
}

// StandardError is the root mean square of the standard errors of the two
// parts of order k: what its amplitude vector is uncertain by along any one
// direction, on average.
func (r *Result) StandardError(k int) float64 {
	re, im, _ := r.Covariance(k)
	return math.Sqrt((re + im) / 2)
}

// Inflation is how many times the other columns inflate the variance of
// order k: 1 at best, [MostInflation] at most for an order reported.
func (r *Result) Inflation(k int) float64 { return r.inflation[k] }

// FalseAlarm is the chance that noise alone gives order k an amplitude as
// significant: Hotelling's test with 2 and ν degrees of freedom, whose tail is
// (1 + W/ν)^(−ν/2) with W the squared amplitude in units of its covariance.
func (r *Result) FalseAlarm(k int) float64 {
	if !r.Has(k) {
		return 1
	}
	re, im, both := r.Covariance(k)
	a := r.amplitude[k]
	det := re*im - both*both
	w := (real(a)*real(a)*im - 2*real(a)*imag(a)*both + imag(a)*imag(a)*re) / det
	nu := float64(r.Samples - trend - 2*Highest)
	return math.Pow(1+w/max(nu, 1), -max(nu, 1)/2)
}

// AngleAt is the shaft angle at a time in or near the window.
func (r *Result) AngleAt(at time.Duration) float64 {
	theta, _ := r.phase.at(min(max((at-r.Start).Seconds(), 0), (r.End - r.Start).Seconds()))
	if at < r.Start {
		_, omega := r.phase.at(0)
		theta -= omega * (r.Start - at).Seconds()
	}
	if at > r.End {
		_, omega := r.phase.at((r.End - r.Start).Seconds())
		theta += omega * (at - r.End).Seconds()
	}
	return theta + r.turned
}

// Turn adds an angle to θ, so that amplitudes and covariances refer to the
// new angle: order k turns by −k times the angle.
func (r *Result) Turn(angle float64) {
	r.turned += angle
	r.Index -= angle
	var factor [Highest + 1]complex128
	for k := 1; k <= Highest; k++ {
		factor[k] = cmplx.Rect(1, -float64(k)*angle)
		r.amplitude[k] *= factor[k]
	}
	for k := 1; k <= Highest; k++ {
		for l := 1; l <= Highest; l++ {
			r.turnBlock(k, l, factor[k], factor[l])
		}
	}
}

// turnBlock turns the covariance of orders k and l: R(k)·C·R(l)ᵀ.
func (r *Result) turnBlock(k, l int, a, b complex128) {
	i, j := 2*(k-1), 2*(l-1)
	// First the columns by b, then the rows by a, each as a complex product.
	for n := range 2 {
		z := complex(r.cov[i+n][j], r.cov[i+n][j+1]) * b
		r.cov[i+n][j], r.cov[i+n][j+1] = real(z), imag(z)
	}
	for n := range 2 {
		z := complex(r.cov[i][j+n], r.cov[i+1][j+n]) * a
		r.cov[i][j+n], r.cov[i+1][j+n] = real(z), imag(z)
	}
}
