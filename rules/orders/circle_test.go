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
