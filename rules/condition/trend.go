package condition

import (
	"math"
	"slices"
)

// A Trend is a slope with what is known of its truth.
type Trend struct {
	Slope     float64 // in units of y per unit of x: the median of all pairs' slopes (Theil 1950, Sen 1968)
	Intercept float64 // median of y less Slope times median of x
	Low, High float64 // 95 % confidence interval of the slope (Sen 1968)
	S         int     // Mann–Kendall: pairs that rise less pairs that fall
	Z         float64 // S standardised, with continuity correction; 0 if S is
	P         float64 // chance of an |S| as large without a trend
}

// FindTrend finds the trend of y over x, which must have the same length and
// x no ties; false for fewer than three points. With ten points or fewer and
// no ties in y the chance P is exact, above it is the normal approximation
// (Gilbert 1987).
func FindTrend(x, y []float64) (Trend, bool) {
	n := len(y)
	if n < 3 || len(x) != n {
		return Trend{}, false
	}
	var t Trend
	slopes := make([]float64, 0, n*(n-1)/2)
	for i := range n {
		for j := range i {
			slope := (y[i] - y[j]) / (x[i] - x[j])
			slopes = append(slopes, slope)
			t.S += sign(slope)
		}
	}
	slices.Sort(slopes)
	t.Slope = Median(slopes)
	t.Intercept = Median(y) - t.Slope*Median(x)
	variance, ties := kendallVariance(y)
	t.Low, t.High = senInterval(slopes, math.Sqrt(variance))
	if t.S != 0 {
		t.Z = float64(t.S-sign(float64(t.S))) / math.Sqrt(variance)
	}
	if t.P = math.Erfc(math.Abs(t.Z) / math.Sqrt2); n <= 10 && !ties {
		t.P = exactKendall(n, t.S)
	}
	return t, true
}

// kendallVariance is the variance of S without a trend, with tied values:
// (n(n−1)(2n+5) − Σ t(t−1)(2t+5))/18.
func kendallVariance(y []float64) (variance float64, ties bool) {
	term := func(n int) float64 { return float64(n * (n - 1) * (2*n + 5)) }
	variance = term(len(y))
	sorted := slices.Sorted(slices.Values(y))
	for i := 0; i < len(sorted); {
		j := i
		for j < len(sorted) && sorted[j] == sorted[i] {
			j++
		}
		variance -= term(j - i)
		ties = ties || j-i > 1
		i = j
	}
	return variance / 18, ties
}

// senInterval picks the sorted slopes between which the true one lies with
// 95 % confidence.
func senInterval(slopes []float64, sigma float64) (low, high float64) {
	const z = 1.959963984540054 // 97.5 % of the normal distribution
	n := float64(len(slopes))
	first := max(int(math.RoundToEven((n-z*sigma)/2))-1, 0)
	last := min(int(math.RoundToEven((n+z*sigma)/2)), len(slopes)-1)
	return slopes[first], slopes[last]
}

// exactKendall is the chance of |S| or more in n values in random order, by
// counting the orders with each number of inversions.
func exactKendall(n, s int) float64 {
	most := n * (n - 1) / 2
	orders := make([]float64, most+1) // share of orders by number of inversions
	orders[0] = 1
	for m := 2; m <= n; m++ {
		next := make([]float64, most+1)
		for inversions, share := range orders {
			for more := 0; more < m && inversions+more <= most; more++ {
				next[inversions+more] += share / float64(m)
			}
		}
		orders = next
	}
	p := 0.0
	for inversions, share := range orders {
		if abs(most-2*inversions) >= abs(s) {
			p += share
		}
	}
	return min(1, p)
}

func sign(x float64) int {
	switch {
	case x > 0:
		return 1
	case x < 0:
		return -1
	default:
		return 0
	}
}

func abs(n int) int { return max(n, -n) }

// A Series keeps a bounded history for a trend: when it is full every other
// point is dropped and points are kept half as often, so it always spans the
// whole time. The zero Series is empty.
type Series struct {
	Points [][2]float64 `json:"points"` // x, y
	Every  int          `json:"every"`  // how many points one that is kept stands for
	Skip   int          `json:"skip"`   // points since the last that was kept
}

// mostPoints of a Series; its trend then looks at some 2,000 pairs.
const mostPoints = 64

// Add takes a point; x must grow.
func (s *Series) Add(x, y float64) {
	s.Every = max(1, s.Every)
	if s.Skip++; s.Skip < s.Every && len(s.Points) > 0 {
		return
	}
	s.Skip = 0
	if s.Points = append(s.Points, [2]float64{x, y}); len(s.Points) < mostPoints {
		return
	}
	for i := range mostPoints / 2 {
		s.Points[i] = s.Points[2*i+1]
	}
	s.Points = s.Points[:mostPoints/2]
	s.Every *= 2
}

// Trend finds the trend of the series.
func (s *Series) Trend() (Trend, bool) {
	x, y := make([]float64, len(s.Points)), make([]float64, len(s.Points))
	for i, p := range s.Points {
		x[i], y[i] = p[0], p[1]
	}
	return FindTrend(x, y)
}
