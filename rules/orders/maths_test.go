package orders

import (
	"math"
	"math/rand/v2"
	"testing"
)

func TestSineAndCosineAreThoseOfTheLibrary(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	for range 200_000 {
		theta := 1e5 * (2*rng.Float64() - 1)
		sin, cos := sincos(theta)
		wantSin, wantCos := math.Sincos(theta)
		if off := max(math.Abs(sin-wantSin), math.Abs(cos-wantCos)); off > 1e-15 {
			t.Fatalf("at %v off by %.1g", theta, off)
		}
	}
}

func TestHarmonicsOfAnyOrders(t *testing.T) {
	for _, orders := range [][]int{{1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12}, {1, 2, 3, 6, 9, 12}, {3, 7}, {1, 2, 5, 10}, {4}} {
		var l ladder
		l.set(orders)
		var row [2 * Highest]float64
		for _, theta := range []float64{0, 1, -40, 400} {
			harmonics(row[:], orders, &l, theta)
			for i, k := range orders {
				sin, cos := math.Sincos(float64(k) * theta)
				if off := max(math.Abs(row[2*i]-cos), math.Abs(row[2*i+1]-sin)); off > 1e-12 {
					t.Errorf("%v: order %d at %v off by %.1g", orders, k, theta, off)
				}
			}
		}
	}
}

func TestTheSumOfLogarithms(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	sum, want := logSum{mantissa: 1}, 0.0
	for range 5000 {
		x := math.Exp(1000*rng.Float64() - 600)
		sum.add(x)
		want += math.Log(x)
	}
	if off := math.Abs(sum.value() - want); off > 1e-9*math.Abs(want) {
		t.Errorf("%v, want %v", sum.value(), want)
	}
}

// The normal equations of all orders by sums are those by products.
func TestWavesMultiplyAsTheirProducts(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 4))
	const highest, columns = 7, trend + 2*7 + 3
	var orders []int
	for k := 1; k <= highest; k++ {
		orders = append(orders, k)
	}
	var l ladder
	l.set(orders)
	by, direct := new(normal), new(normal)
	by.reset(columns)
	direct.reset(columns)
	by.w.highest = highest
	for range 30 {
		var row [mostColumn]float64
		row[0] = 1
		harmonics(row[trend:], orders, &l, 7*rng.Float64())
		for _, i := range []int{1, columns - 3, columns - 2, columns - 1} {
			row[i] = rng.NormFloat64()
		}
		y, w := rng.NormFloat64(), rng.Float64()
		by.add(row[:], y, w)
		direct.add(row[:], y, w)
	}
	by.multiply()
	for i := range columns {
		for j := range i + 1 {
			if off := math.Abs(by.a[i][j] - direct.a[i][j]); off > 1e-13 {
				t.Errorf("row %d column %d: %v, want %v", i, j, by.a[i][j], direct.a[i][j])
			}
		}
	}
}

func TestTheVarianceOfOneColumnIsThatOfTheInverse(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 6))
	m := new(normal)
	m.reset(9)
	for range 40 {
		row := make([]float64, 9)
		for i := range row {
			row[i] = rng.NormFloat64()
		}
		m.add(row, rng.NormFloat64(), rng.Float64())
	}
	m.solve()
	var alone [9]float64
	for i := range alone {
		alone[i] = m.variance(i)
	}
	m.invert()
	for i, got := range alone {
		if want := m.inv[i][i]; math.Abs(got/want-1) > 1e-12 {
			t.Errorf("column %d: %v, want %v", i, got, want)
		}
	}
}
