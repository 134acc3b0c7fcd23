package diagnosis

import (
	"math"
	"math/cmplx"
	"math/rand/v2"
	"testing"

	"pumpside/rules/orders"
)

// measured is a line of resonance f0 as a ramp to 5 turns a second shows it by
// orders 3 and 6, with the index off by an angle and noise on both parts; it is
// damped less while the flow is small.
func measured(f0, damping, off, noise float64) *Line {
	r := rand.New(rand.NewPCG(1, 2))
	line := new(Line)
	for turns := 0.5; turns < 5; turns += 0.1 {
		for _, k := range []float64{3, 6} {
			z := lumped(k*turns, f0, damping*math.Sqrt(turns/5))*cmplx.Rect(1e9, k*off) + complex(noise*r.NormFloat64(), noise*r.NormFloat64())
			line.add(LinePoint{Hertz: k * turns, Turns: turns, Re: real(z), Im: imag(z), Error: noise / cmplx.Abs(z)})
		}
	}
	return line
}

// Whatever the line, an index stated some degrees off is seen by how orders 3
// and 6 are turned, and the first order is given as that index sees it.
func TestAnIndexThatIsOffIsSeenByTheLine(t *testing.T) {
	for _, f0 := range []float64{2.5, 8, 15} {
		for _, degrees := range []float64{-20, 0, 20} {
			off := degrees * math.Pi / 180
			line := measured(f0, 0.2, off, 0.1e9)
			want := lumped(5, f0, 0.2) * cmplx.Rect(1e9, off)
			z, _, ok := line.At(5, 5, orders.Path{})
			if miss := cmplx.Abs(z/want - 1); !ok || miss > 0.12 {
				t.Errorf("resonance at %v Hz, index off by %v°: known %v, %.2f and %.0f° of the truth", f0, degrees, ok, cmplx.Abs(z/want), 180/math.Pi*cmplx.Phase(z/want))
			}
		}
	}
}

// Where noise is three times what is measured, those windows must not count
// most that it makes large.
func TestNoiseMakesNoLineLarger(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	line := new(Line)
	for range 400 {
		z := complex(1+3*r.NormFloat64(), 3*r.NormFloat64())
		line.add(LinePoint{Hertz: 10, Turns: 10.0 / 3, Re: real(z), Im: imag(z), Error: 3 / cmplx.Abs(z)})
	}
	if n := len(line.Points); n != 1 {
		t.Fatalf("%d points, want one", n)
	}
	p := line.Points[0]
	if miss := math.Hypot(p.Re-1, p.Im); miss > 0.4 || p.Error > 0.4 {
		t.Errorf("%.2f %+.2fi, error %.2f; want 1", p.Re, p.Im, p.Error)
	}
}
