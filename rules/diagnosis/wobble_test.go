package diagnosis

import (
	"math"
	"math/cmplx"
	"testing"
)

// Flow of a pump whose speed wobbles, transformed as it comes.
func TestASpeedThatWobbles(t *testing.T) {
	const size, points = 0.004, 4096
	m := NewModel(triplex(), new(Line))
	late := 0.05
	for direction := range directions {
		phi := 2 * math.Pi * float64(direction) / directions
		var got [mostOrder + 1]complex128
		for i := range points {
			clock := 2 * math.Pi * (float64(i) + 0.5) / points
			theta := clock + size*math.Sin(clock-phi)
			flow := 1.0
			for _, k := range []int{3, 6} {
				flow += real(m.all(late, k) * cmplx.Rect(1, float64(k)*theta))
			}
			flow *= 1 + size*math.Cos(clock-phi)
			for k := range got {
				got[k] += complex(2*flow/points, 0) * cmplx.Rect(1, -float64(k)*clock)
			}
		}
		f := wobble(m, late, size, direction)
		for _, k := range weak {
			if cmplx.Abs(f.flow[k]-got[k]) > 0.03*cmplx.Abs(got[k]) {
				t.Errorf("direction %d, order %d: %.5f, want %.5f", direction, k, f.flow[k], got[k])
			}
		}
	}
}
