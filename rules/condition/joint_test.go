package condition

import (
	"math"
	"math/rand/v2"
	"testing"

	"pumpside/drivers"
)

// Upper percentage points of χ²: Abramowitz and Stegun, table 26.8 (from
// memory).
func TestTailOfChiSquare(t *testing.T) {
	for _, tt := range []struct {
		free      int
		x, chance float64
	}{{2, 13.816, 0.001}, {4, 13.2767, 0.01}, {8, 15.5073, 0.05}, {8, 20.0902, 0.01}, {10, 29.588, 0.001}} {
		if got := math.Exp(logTail(tt.x, tt.free)); math.Abs(got/tt.chance-1) > 1e-3 {
			t.Errorf("χ² with %d above %v: %.6f, want %v", tt.free, tt.x, got, tt.chance)
		}
	}
}

// jointBlocks feeds blocks of four indicators off by a shift until a change is
// raised, and gives their number.
func jointBlocks(rng *rand.Rand, length float64, learned int, shift Vector, most int) int {
	var j Joint
	center := make([]Vector, 4) // what was learned is off by its own error
	for i := range center {
		center[i] = Vector{rng.NormFloat64(), rng.NormFloat64()}.times(1 / math.Sqrt(float64(learned)))
	}
	for n := 1; n <= most; n++ {
		block := JointBlock{}
		for i := range center {
			z := Vector{rng.NormFloat64(), rng.NormFloat64()}.plus(shift).minus(center[i])
			block = append(block, JointTerm{Watch: i, Z: z, Learned: learned})
		}
		if j.add(block, length, drivers.Instant{}); j.Raised {
			return n
		}
	}
	return most
}

func TestOrdersTogetherKeepTheirRunLength(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	const length, tries = 300, 200
	sum := 0.0
	for range tries {
		sum += float64(jointBlocks(rng, length, 40, Vector{}, 20*length))
	}
	if mean := sum / tries; mean < length {
		t.Errorf("a false change every %.0f blocks, want %d at least", mean, length)
	}
}

// A fault that moves each of four orders by one and a half of its scatter is
// found in a dozen blocks, at a run length of ten years of minutes.
func TestOrdersTogetherFindWhatIsSmallInEach(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 4))
	const tries = 200
	late := 0
	for range tries {
		if jointBlocks(rng, 5e6, 20, Vector{1.5, 1.5}, 40) > longestStretch {
			late++
		}
	}
	if late > tries/10 {
		t.Errorf("%d of %d took more than %d blocks", late, tries, longestStretch)
	}
}
