package condition

import (
	"math"
	"slices"
)

// sigmaPerMAD is one by the upper quartile of the normal distribution: the
// standard deviation of normal data by their median absolute deviation.
const sigmaPerMAD = 1.482602218505602

// Median is the middle of the values, the mean of the middle two for an even
// number, NaN for none.
func Median(values []float64) float64 {
	n := len(values)
	if n == 0 {
		return math.NaN()
	}
	sorted := slices.Sorted(slices.Values(values))
	return (sorted[(n-1)/2] + sorted[n/2]) / 2
}

// MAD is the median absolute deviation from the median.
func MAD(values []float64) float64 {
	m := Median(values)
	away := make([]float64, len(values))
	for i, v := range values {
		away[i] = math.Abs(v - m)
	}
	return Median(away)
}

// Sigma estimates the standard deviation of normal data, 1.4826·MAD, without
// being moved by outliers.
func Sigma(values []float64) float64 { return sigmaPerMAD * MAD(values) }

// HampelMean is the mean of those values that lie within three Sigma of the
// median (the Hampel identifier, Pearson 2002): a few bad days among many do
// not move it, and without any it is nearly the mean. When more than half of
// the values are the same, Sigma is 0 and it is their value.
func HampelMean(values []float64) float64 {
	mean, _ := hampel(values)
	return mean
}

// hampel gives the mean and the variance of the values within three Sigma of
// the median; the variance is 0 for fewer than two of them.
func hampel(values []float64) (mean, variance float64) {
	median, reach := Median(values), 3*Sigma(values)
	n := 0.0
	for _, v := range values {
		if d := v - median; math.Abs(d) <= reach { // Welford's update
			n++
			step := d - mean
			mean += step / n
			variance += step * (d - mean)
		}
	}
	return median + mean, variance / math.Max(1, n-1)
}

// HampelFilter replaces in a copy of the series each value that lies further
// than three Sigma from the median of the 2k+1 values around it by that
// median. Where Sigma is 0 a value is left alone, so a constant signal with
// one step keeps it.
func HampelFilter(series []float64, k int) []float64 {
	out := slices.Clone(series)
	for i, v := range series {
		around := series[max(0, i-k):min(len(series), i+k+1)]
		median, sigma := Median(around), Sigma(around)
		if sigma > 0 && math.Abs(v-median) > 3*sigma {
			out[i] = median
		}
	}
	return out
}
