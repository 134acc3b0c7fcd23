package condition_test

import (
	"fmt"
	"math"
	"testing"

	"pgregory.net/rapid"

	"pumpside/rules/condition"
)

// The identifier of Pearson 2002 (from memory); the set is a common example.
func TestMedianAndMAD(t *testing.T) {
	set := []float64{9, 1, 2, 4, 1, 6, 2}
	if m, d, s := condition.Median(set), condition.MAD(set), condition.Sigma(set); m != 2 || d != 1 || math.Abs(s-1.4826) > 1e-4 {
		t.Errorf("median %v, MAD %v, sigma %v; want 2, 1, 1.4826", m, d, s)
	}
	if m := condition.Median([]float64{4, 1, 3, 2}); m != 2.5 {
		t.Errorf("median of four is %v, want 2.5", m)
	}
	if m := condition.Median(nil); !math.IsNaN(m) {
		t.Errorf("median of nothing is %v", m)
	}
}

func TestHampelFilterTakesOutSpikesOnly(t *testing.T) {
	series := []float64{1, 1.1, 0.9, 1, 50, 1.1, 1, 0.9, 1, 1.1}
	for i, v := range condition.HampelFilter(series, 3) {
		if i == 4 && v > 1.2 || i != 4 && v != series[i] {
			t.Errorf("value %d became %v", i, v)
		}
	}
	step := []float64{1, 1, 1, 1, 2, 2, 2, 2}
	for i, v := range condition.HampelFilter(step, 2) {
		if v != step[i] {
			t.Errorf("a step was changed at %d to %v", i, v)
		}
	}
}

func TestHampelMeanStaysWithinTheValues(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		values := rapid.SliceOfN(rapid.Float64Range(-1e6, 1e6), 1, 40).Draw(t, "values")
		low, high := math.Inf(1), math.Inf(-1)
		for _, v := range values {
			low, high = min(low, v), max(high, v)
		}
		if m := condition.HampelMean(values); !(m >= low-1e-9 && m <= high+1e-9) {
			t.Errorf("mean of %v is %v", values, m)
		}
	})
}

// NIST/SEMATECH e-Handbook 6.3.2.3, cusum example: target 325, k = 0.3175,
// h = 4.1959, first alarm at observation 14 (data from memory, sums
// recalculated).
func TestCusumOfTheHandbookExample(t *testing.T) {
	data := []float64{
		324.925, 324.675, 324.725, 324.350, 325.350, 325.225, 324.125, 324.525, 325.225, 324.600,
		324.625, 325.150, 328.325, 327.250, 327.825, 328.500, 326.675, 327.775, 326.875, 328.350,
	}
	c := condition.Cusum{Slack: 0.3175, Limit: 4.1959}
	high, low, first := 0.0, 0.0, 0
	for i, x := range data {
		high, low = c.Step(high, x-325), c.Step(low, 325-x)
		if first == 0 && (c.Alarms(high) || c.Alarms(low)) {
			first = i + 1
		}
		for _, want := range []struct {
			at   int
			name string
			got  float64
			want float64
		}{{13, "high", high, 3.0075}, {14, "high", high, 4.94}, {20, "high", high, 19.035}, {8, "low", low, 0.715}} {
			if i+1 == want.at && math.Abs(want.got-want.want) > 5e-4 {
				t.Errorf("observation %d: %s sum %.4f, want %.4f", want.at, want.name, want.got, want.want)
			}
		}
	}
	if first != 14 {
		t.Errorf("first alarm at %d, want 14", first)
	}
}

// NIST/SEMATECH e-Handbook 6.3.2.4, EWMA example: λ = 0.3, mean 50,
// s = 2.0539, limits 52.5884 and 47.4116, no alarm (data from memory,
// averages recalculated).
func TestEwmaOfTheHandbookExample(t *testing.T) {
	data := []float64{52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5, 49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1}
	want := []float64{50.60, 49.52, 50.56, 50.18, 50.16, 49.21, 49.75, 49.85, 50.26, 50.33, 50.11, 49.36, 49.52, 50.05, 49.38, 49.92, 50.73, 51.23, 51.94, 51.99}
	e := condition.Ewma{Weight: 0.3, Width: 3}
	limit := e.Limit(2.0539)
	if math.Abs(50+limit-52.5884) > 1e-4 || math.Abs(50-limit-47.4116) > 1e-4 {
		t.Errorf("limits 50 ± %.4f, want 52.5884 and 47.4116", limit)
	}
	z := 50.0
	for i, x := range data {
		z = e.Step(z, x)
		if math.Abs(z-want[i]) > 5.1e-3 || math.Abs(z-50) > limit {
			t.Errorf("observation %d: %.4f, want %.2f within limits", i+1, z, want[i])
		}
	}
}

// Mann–Kendall by hand, a worked example from a course in statistics: S = 54,
// variance 332.6667, Z = 2.9058; slope and interval by scipy 1.10.1
// (scipy.stats.theilslopes).
func TestTrendOfTheWorkedExample(t *testing.T) {
	y := []float64{12.9, 14.8, 13.2, 15.7, 13.8, 15.6, 12.9, 11.0, 17.3, 15.9, 19.0, 18.3, 20.1, 21.7}
	x := make([]float64, len(y))
	for i := range x {
		x[i] = float64(i)
	}
	got, ok := condition.FindTrend(x, y)
	if !ok || got.S != 54 {
		t.Fatalf("S = %d, want 54", got.S)
	}
	for _, tt := range []struct {
		name      string
		got, want float64
	}{
		{"Z", got.Z, 2.905837},
		{"P", got.P, 0.00366272},
		{"slope", got.Slope, 0.5666667},
		{"intercept", got.Intercept, 11.9666667},
		{"low", got.Low, 0.325},
		{"high", got.High, 0.866667},
	} {
		if math.Abs(tt.got-tt.want) > 1e-6 {
			t.Errorf("%s = %.7f, want %.7f", tt.name, tt.got, tt.want)
		}
	}
}

// Kendall's exact table: four values, S = 6 only in the one order that rises
// all the way, so two-sided 2/24; S = 4 or more in 4 of 24 one-sided.
func TestFewPointsHaveAnExactChance(t *testing.T) {
	for _, tt := range []struct {
		y    []float64
		want float64
	}{
		{[]float64{1, 2, 3, 4}, 2.0 / 24},
		{[]float64{1, 2, 4, 3}, 8.0 / 24},
		{[]float64{2, 1, 4, 3}, 18.0 / 24},
		{[]float64{1, 2, 3, 4, 5}, 2.0 / 120},
	} {
		x := []float64{0, 1, 2, 3, 4}[:len(tt.y)]
		if got, _ := condition.FindTrend(x, tt.y); math.Abs(got.P-tt.want) > 1e-12 {
			t.Errorf("%v: chance %.6f, want %.6f", tt.y, got.P, tt.want)
		}
	}
	if got, ok := condition.FindTrend([]float64{1, 2}, []float64{1, 2}); ok {
		t.Errorf("two points have a trend %+v", got)
	}
}

func TestALineHasItsOwnTrend(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		slope := rapid.Float64Range(-5, 5).Draw(t, "slope")
		n := rapid.IntRange(3, 200).Draw(t, "n")
		var s condition.Series
		for i := range n {
			s.Add(float64(i), 7+slope*float64(i))
		}
		got, ok := s.Trend()
		if !ok || math.Abs(got.Slope-slope) > 1e-9 || len(s.Points) >= 64 {
			t.Errorf("slope %v of %d points is found as %v from %d", slope, n, got.Slope, len(s.Points))
		}
	})
}

// Run lengths of a one-sided Cusum by Nyström's method on Page's integral
// equation (Goel and Wu 1971), and of an Ewma likewise (Crowder 1987).

// gauss are nodes and weights of the n-point Gauss–Legendre rule on [a, b], by
// Newton's method on the Legendre polynomial.
func gauss(n int, a, b float64) (x, w []float64) {
	x, w = make([]float64, n), make([]float64, n)
	for i := range n {
		z := math.Cos(math.Pi * (float64(i) + 0.75) / (float64(n) + 0.5))
		var slope float64
		for range 50 {
			p, q := 1.0, 0.0
			for j := range n {
				p, q = (float64(2*j+1)*z*p-float64(j)*q)/float64(j+1), p
			}
			slope = float64(n) * (z*p - q) / (z*z - 1)
			z -= p / slope
		}
		x[i] = (a+b)/2 + (b-a)/2*z
		w[i] = (b - a) / ((1 - z*z) * slope * slope)
	}
	return x, w
}

// solve solves a·x = b by Gauss elimination with pivoting.
func solve(a [][]float64, b []float64) []float64 {
	n := len(b)
	for c := range n {
		p := c
		for r := c; r < n; r++ {
			if math.Abs(a[r][c]) > math.Abs(a[p][c]) {
				p = r
			}
		}
		a[c], a[p], b[c], b[p] = a[p], a[c], b[p], b[c]
		for r := c + 1; r < n; r++ {
			f := a[r][c] / a[c][c]
			for k := c; k < n; k++ {
				a[r][k] -= f * a[c][k]
			}
			b[r] -= f * b[c]
		}
	}
	for c := n - 1; c >= 0; c-- {
		for k := c + 1; k < n; k++ {
			b[c] -= a[c][k] * b[k]
		}
		b[c] /= a[c][c]
	}
	return b
}

func density(x float64) float64 { return math.Exp(-x*x/2) / math.Sqrt(2*math.Pi) }
func below(x float64) float64   { return math.Erfc(-x/math.Sqrt2) / 2 }

// cusumRunLength solves L(s) = 1 + Φ(k−s−δ)·L(0) + ∫₀ʰ φ(y+k−s−δ)·L(y) dy.
func cusumRunLength(c condition.Cusum, shift, start float64) float64 {
	const n = 40
	x, w := gauss(n, 0, c.Limit)
	a, b := make([][]float64, n+1), make([]float64, n+1)
	row := func(s float64) []float64 {
		r := make([]float64, n+1)
		r[0] = -below(c.Slack - s - shift)
		for j := range n {
			r[j+1] = -w[j] * density(x[j]+c.Slack-s-shift)
		}
		return r
	}
	for i := range n + 1 {
		s := 0.0
		if i > 0 {
			s = x[i-1]
		}
		a[i], b[i] = row(s), 1
		a[i][i]++
	}
	l := solve(a, b)
	length := 1.0
	for j, r := range row(start) {
		length -= r * l[j]
	}
	return length
}

// ewmaRunLength solves L(u) = 1 + (1/λ)·∫ L(y)·φ((y−(1−λ)u)/λ − δ) dy between
// the limits.
func ewmaRunLength(e condition.Ewma, shift float64) float64 {
	const n = 61 // odd, so that the middle node is 0
	limit := e.Limit(1)
	x, w := gauss(n, -limit, limit)
	a, b := make([][]float64, n), make([]float64, n)
	for i := range n {
		a[i], b[i] = make([]float64, n), 1
		for j := range n {
			a[i][j] = -w[j] / e.Weight * density((x[j]-(1-e.Weight)*x[i])/e.Weight-shift)
		}
		a[i][i]++
	}
	return solve(a, b)[n/2]
}

// Lucas and Crosier 1982; Montgomery, Introduction to Statistical Quality
// Control; NIST/SEMATECH e-Handbook 6.3.2.3.1 (tables from memory, rounded to
// three digits there; here recalculated).
func TestRunLengthsOfCusumAreThoseOfTheTables(t *testing.T) {
	shifts := []float64{0, 0.25, 0.5, 0.75, 1, 1.5, 2, 2.5, 3, 4}
	for h, want := range map[float64][]float64{
		4: {167.684, 74.224, 26.630, 13.285, 8.383, 4.747, 3.343, 2.620, 2.194, 1.708},
		5: {465.444, 139.494, 37.996, 17.048, 10.376, 5.747, 4.009, 3.114, 2.573, 2.013},
	} {
		c := condition.Cusum{Slack: 0.5, Limit: h}
		for i, shift := range shifts {
			up, down := cusumRunLength(c, shift, 0), cusumRunLength(c, -shift, 0)
			if got := 1 / (1/up + 1/down); math.Abs(got-want[i]) > 6e-4*math.Max(1, want[i]/100) {
				t.Errorf("h = %v, shift %v: two-sided %.3f, want %.3f", h, shift, got, want[i])
			}
		}
	}
	for h, want := range map[float64][]float64{4: {335.368, 77.079, 26.679, 13.287, 8.383}, 5: {930.887, 141.688, 38.010, 17.049, 10.376}} {
		for i := range want {
			if got := cusumRunLength(condition.Cusum{Slack: 0.5, Limit: h}, shifts[i], 0); math.Abs(got-want[i]) > 2e-3 {
				t.Errorf("h = %v, shift %v: one-sided %.3f, want %.3f", h, shifts[i], got, want[i])
			}
		}
	}
}

// Lucas and Saccucci 1990; Montgomery (tables from memory, recalculated).
func TestRunLengthsOfEwmaAreThoseOfTheTables(t *testing.T) {
	shifts := []float64{0, 0.25, 0.5, 0.75, 1, 1.5, 2, 3}
	for _, tt := range []struct {
		e    condition.Ewma
		want []float64
	}{
		{condition.Ewma{Weight: 0.40, Width: 3.054}, []float64{499.95, 223.73, 71.20, 28.42, 14.263, 5.875, 3.522, 2.019}},
		{condition.Ewma{Weight: 0.25, Width: 2.998}, []float64{499.84, 170.30, 48.29, 20.12, 11.136, 5.464, 3.614, 2.258}},
		{condition.Ewma{Weight: 0.20, Width: 2.962}, []float64{499.74, 150.22, 41.76, 18.15, 10.542, 5.501, 3.743, 2.381}},
		{condition.Ewma{Weight: 0.10, Width: 2.814}, []float64{499.58, 106.32, 31.30, 15.85, 10.331, 6.084, 4.362, 2.868}},
		{condition.Ewma{Weight: 0.05, Width: 2.615}, []float64{499.93, 84.01, 28.76, 16.37, 11.383, 7.112, 5.225, 3.496}},
	} {
		for i, want := range tt.want {
			t.Run(fmt.Sprintf("λ %v shift %v", tt.e.Weight, shifts[i]), func(t *testing.T) {
				if got := ewmaRunLength(tt.e, shifts[i]); math.Abs(got-want) > 6e-3 {
					t.Errorf("%.4f, want %.4f", got, want)
				}
			})
		}
	}
}

// Siegmund's approximation at k = 0.5: 169.05 and 8.343 for h = 4 two-sided
// and a shift of 1, 469.11 and 10.336 for h = 5 (calculated).
func TestRunLengthIsNearTheExactOne(t *testing.T) {
	for h, want := range map[float64][2]float64{4: {169.05, 8.343}, 5: {469.11, 10.336}} {
		c := condition.Cusum{Slack: 0.5, Limit: h}
		if two, one := c.RunLength(0)/2, c.RunLength(1); math.Abs(two-want[0]) > 5e-3 || math.Abs(one-want[1]) > 5e-4 {
			t.Errorf("h = %v: %.3f and %.4f, want %v", h, two, one, want)
		}
	}
	for _, length := range []float64{1e3, 1e4, 1e5, 1e6} {
		c := condition.NewCusum(0.5, length)
		if exact := cusumRunLength(c, 0, 0); math.Abs(exact/length-1) > 0.03 {
			t.Errorf("asked for %v, got a limit of %.3f whose run length is %.0f", length, c.Limit, exact)
		}
	}
}

// Fast initial response, S started at h/2 (Lucas and Crosier 1982).
func TestRunLengthsWithAHeadStart(t *testing.T) {
	for h, want := range map[float64][]float64{4: {148.696, 62.698, 20.064, 8.968, 5.287}, 5: {430.391, 121.688, 28.666, 11.236, 6.347}} {
		for i, shift := range []float64{0, 0.25, 0.5, 0.75, 1} {
			c := condition.Cusum{Slack: 0.5, Limit: h}
			if got := twoSidedHeadStart(c, shift); math.Abs(got-want[i]) > 2e-3*math.Max(1, want[i]/100) {
				t.Errorf("h = %v, shift %v: %.3f, want %.3f", h, shift, got, want[i])
			}
		}
	}
}

// twoSidedHeadStart combines both sides started at h/2 (Lucas and Crosier):
// (L₊(h/2)·L₋(0) + L₋(h/2)·L₊(0) − L₊(0)·L₋(0))/(L₊(0) + L₋(0)).
func twoSidedHeadStart(c condition.Cusum, shift float64) float64 {
	up, down := cusumRunLength(c, shift, 0), cusumRunLength(c, -shift, 0)
	upHead, downHead := cusumRunLength(c, shift, c.Limit/2), cusumRunLength(c, -shift, c.Limit/2)
	return (upHead*down + downHead*up - up*down) / (up + down)
}
