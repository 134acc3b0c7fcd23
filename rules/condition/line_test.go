package condition_test

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"pumpside/drivers"
	"pumpside/rules/condition"
)

// The efficiency of a pump goes with the viscosity of its oil, and the oil warms
// and cools within one band, first where nothing was learned yet. That is no
// change; one of 2 % on top of it is, wherever the oil is then.
func TestWhatMovesWithTheOilIsNoChange(t *testing.T) {
	for _, lostAt := range []int{20, 23, 26, 29} { // h
		set := condition.DefaultSettings(condition.Bands{})
		var s condition.State
		rng := rand.New(rand.NewPCG(uint64(lostAt), 4))
		at, raised := drivers.Instant{Boot: "a"}, -1
		for m := 0; m < 60*lostAt+60; m++ {
			oil := 0.45 * math.Sin(2*math.Pi*float64(m)/720) // widths of the band, over twelve hours
			o := condition.Number(condition.VolumetricEfficiency, 0.96-0.014*oil+0.001*rng.NormFloat64(), 0.005)
			o.Place, o.Slope = condition.Place{3: oil}, condition.Place{3: 0.015}
			if m >= 60*lostAt {
				o.Value -= 0.02
			}
			s.Observe(&set, at, condition.Band{}, []condition.Observation{o})
			at.SinceBoot += time.Minute
			s.Advance(&set, at)
			if c := s.Changes(&set, condition.Band{}, nil)[0]; raised < 0 && c.Raised {
				raised = m
			}
		}
		c := s.Changes(&set, condition.Band{}, nil)[0]
		switch {
		case raised >= 0 && raised < 60*lostAt:
			t.Errorf("raised in minute %d, when only the oil had warmed", raised)
		case raised < 0 || raised > 60*lostAt+15:
			t.Errorf("2 %% lost in hour %d: raised in minute %d, want within a quarter of an hour", lostAt, raised)
		case math.Abs(real(c.Delta)+0.02) > 0.003:
			t.Errorf("2 %% lost in hour %d: change %.4f ± %.4f", lostAt, real(c.Delta), c.Sigma)
		}
	}
}

// A baseline of a dozen blocks has a centre that is off by a third of a block's
// scatter. Of 300 pumps that do not change, hardly any may be called changed in
// their first hours for that.
func TestAYoungBaselineIsNotTakenForExact(t *testing.T) {
	raised := 0
	for i := range 300 {
		if newSite(uint64(1000+i)).run(200) != 0 {
			raised++
		}
	}
	if raised > 5 {
		t.Errorf("%d of 300 steady pumps were called changed in their first 200 minutes, want 5 at most", raised)
	}
}
