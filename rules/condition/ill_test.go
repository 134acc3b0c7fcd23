package condition

import (
	"encoding/json"
	"math"
	"math/rand/v2"
	"testing"
)

// A number that hardly scatters, as a register in steps does, has slopes that
// are numbers, and is expected where it has always been.
func TestWhatHardlyScattersHasSaneSlopes(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	for range 3000 {
		var b Baseline
		may := Place{2e3, 1e3, 2e3, 0}
		tiny := math.Pow(10, -16+14*rng.Float64()) * 12345.6
		used := 1 + rng.IntN(4)
		scale := math.Pow(10, -3*rng.Float64())
		for range 2 + rng.IntN(60) {
			var p Place
			for i := range used {
				p[i] = scale * (rng.Float64() - 0.5)
			}
			b.learn(Slot{Vector{12345.6 + tiny*rng.NormFloat64()}, p}, may, 0, 1)
		}
		if _, err := json.Marshal(b); err != nil {
			t.Fatalf("scatter %g, %d directions: %v", tiny, used, err)
		}
		for range 20 {
			p := b.Slots[rng.IntN(len(b.Slots))].Place
			if off := math.Abs(b.at(p)[0] - 12345.6); !(off < 20*tiny+1e-6) {
				t.Fatalf("scatter %g, %d directions: expected to be %g off", tiny, used, off)
			}
		}
		for i := range b.Doubt {
			if d := b.Doubt[i][i]; !(d >= 0 && d <= 1.01*may[i]*may[i]) {
				t.Fatalf("scatter %g, %d directions: doubt %v of direction %d", tiny, used, d, i)
			}
		}
	}
}
