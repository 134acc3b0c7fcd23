package orders

// waves are columns cos kθ and sin kθ, k = 1, 2, … highest, that come after
// those of mean and trend. The product of two of them is half a sum of two of
// twice as many orders, cos kθ·cos lθ = (cos (k−l)θ + cos (k+l)θ)/2, so the sums
// of those make up all their normal equations. The lower ones are their products
// with the column of the mean. The zero waves are none.
type waves struct {
	highest int
	above   [Highest]struct{ cos, sin float64 } // sums over orders highest + 1, + 2, …
}

// multiplied is how many of the columns up to i column i is multiplied with.
func (w *waves) multiplied(i int) int {
	if i >= trend && i < trend+2*w.highest {
		return trend
	}
	return i + 1
}

// add takes an observation.
func (w *waves) add(row []float64, weight float64) {
	row = row[trend : trend+2*w.highest]
	cos, sin := weight*row[len(row)-2], weight*row[len(row)-1]
	for i := range w.above[:len(row)/2] {
		c, s := row[2*i], row[2*i+1]
		w.above[i].cos += cos*c - sin*s
		w.above[i].sin += cos*s + sin*c
	}
}

// multiply fills in the products of the waves.
func (m *normal) multiply() {
	w := &m.w
	sum := func(k int) (cos, sin float64) {
		switch {
		case k == 0:
			return m.a[0][0], 0
		case k <= w.highest:
			return m.a[trend+2*k-2][0], m.a[trend+2*k-1][0]
		}
		return w.above[k-w.highest-1].cos, w.above[k-w.highest-1].sin
	}
	for k := 1; k <= w.highest; k++ {
		cos, sin := m.a[trend+2*k-2][trend:], m.a[trend+2*k-1][trend:]
		for l := 1; l <= k; l++ {
			cosLess, sinLess := sum(k - l)
			cosMore, sinMore := sum(k + l)
			cos[2*l-2], sin[2*l-1] = (cosLess+cosMore)/2, (cosLess-cosMore)/2
			cos[2*l-1], sin[2*l-2] = (sinMore-sinLess)/2, (sinMore+sinLess)/2
		}
	}
}
