package orders

import "math"

// A Periodogram holds what the false alarm probability of its highest peak
// depends on: white noise of unknown variance, a floating mean, power in the
// standard normalisation (the share of variance explained by one frequency).
// Baluev 2008, MNRAS 385:1279.
type Periodogram struct {
	Samples  int
	Variance float64 // of the sample times, in s², with divisor Samples
	Span     float64 // from the first sample to the last, in s
	Highest  float64 // highest frequency searched, in Hz
}

// Single is the chance that noise reaches a power at one given frequency,
// (1 − P)^((N−3)/2).
func (p Periodogram) Single(power float64) float64 {
	return math.Pow(1-power, float64(p.Samples-3)/2)
}

// Naive is the chance that the highest of as many independent frequencies as
// the span resolves reaches a power, 1 − (1 − Single)^(f·span).
func (p Periodogram) Naive(power float64) float64 {
	return -math.Expm1(p.Highest * p.Span * math.Log1p(-p.Single(power)))
}

// Davies is an upper bound on that chance, Single + τ.
func (p Periodogram) Davies(power float64) float64 { return p.Single(power) + p.tau(power) }

// Baluev is a sharper estimate, 1 − (1 − Single)·exp(−τ).
func (p Periodogram) Baluev(power float64) float64 {
	return 1 - (1-p.Single(power))*math.Exp(-p.tau(power))
}

// tau is the expected number of times that the power crosses a level upward:
//
//	τ = g·W·(1−P)^((N−4)/2)·√((N−1)·P/2),  W = f·√(4π·var t),
//	g = √(2/(N−1))·Γ((N−1)/2)/Γ((N−2)/2).
func (p Periodogram) tau(power float64) float64 {
	nh := float64(p.Samples - 1)
	a, _ := math.Lgamma(nh / 2)
	b, _ := math.Lgamma((nh - 1) / 2)
	gamma := math.Sqrt(2/nh) * math.Exp(a-b)
	w := p.Highest * math.Sqrt(4*math.Pi*p.Variance)
	return gamma * w * math.Pow(1-power, float64(p.Samples-4)/2) * math.Sqrt(nh*power/2)
}

// Level is the power whose Baluev false alarm probability is chance.
func (p Periodogram) Level(chance float64) float64 {
	low, high := 0.0, 1.0
	for range 60 {
		middle := (low + high) / 2
		if p.Baluev(middle) > chance {
			low = middle
		} else {
			high = middle
		}
	}
	return high
}

// SmallestLine is the amplitude, by the standard deviation of the noise, of a
// line at a known frequency that N samples show with a false alarm chance:
// 2·√(ln(1/chance)/N).
func SmallestLine(samples int, chance float64) float64 {
	return 2 * math.Sqrt(-math.Log(chance)/float64(samples))
}
