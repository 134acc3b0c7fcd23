package condition

import "math"

// A Cusum is Page's cumulative sum for a shift upward in standardised data
// (Page 1954): S ← max(0, S + z − k), alarm when S > h. For a shift downward
// feed −z.
type Cusum struct {
	Slack float64 // k, half the shift to be found, in standard deviations
	Limit float64 // h
}

// Step gives the sum after one more observation.
func (c Cusum) Step(sum, z float64) float64 { return max(0, sum+z-c.Slack) }

// Alarms is whether a sum is over the limit.
func (c Cusum) Alarms(sum float64) bool { return sum > c.Limit }

// RunLength is the mean number of observations until an alarm when the data
// are shifted by that many standard deviations (Siegmund 1985):
//
//	(exp(−2Δb) + 2Δb − 1)/(2Δ²),  Δ = shift − k,  b = h + 1.166
//
// It is within about 2 % of the exact value for k = 0.5 and h from 4 on.
func (c Cusum) RunLength(shift float64) float64 {
	d, b := shift-c.Slack, c.Limit+1.166
	if math.Abs(d) < 1e-6 {
		return b * b
	}
	return (math.Expm1(-2*d*b) + 2*d*b) / (2 * d * d)
}

// NewCusum makes a Cusum with that slack whose alarms are false once in that
// many observations on average.
func NewCusum(slack, runLength float64) Cusum {
	low, high := 0.0, 1000.0
	for range 50 { // to 1e-12
		middle := (low + high) / 2
		if (Cusum{slack, middle}).RunLength(0) < runLength {
			low = middle
		} else {
			high = middle
		}
	}
	return Cusum{slack, high}
}

// An Ewma is an exponentially weighted moving average with limits at ±Width
// asymptotic standard deviations (Lucas and Saccucci 1990):
// z ← λ·x + (1−λ)·z, limits at ±Width·σ·√(λ/(2−λ)).
type Ewma struct {
	Weight float64 // λ, 0 to 1
	Width  float64 // L
}

// Step gives the average after one more observation.
func (e Ewma) Step(average, x float64) float64 { return e.Weight*x + (1-e.Weight)*average }

// Limit is how far from the mean the average may go, for data of that standard
// deviation.
func (e Ewma) Limit(sigma float64) float64 {
	return e.Width * sigma * math.Sqrt(e.Weight/(2-e.Weight))
}
