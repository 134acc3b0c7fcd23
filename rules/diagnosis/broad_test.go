package diagnosis

import (
	"math"
	"math/cmplx"
	"testing"

	"pumpside/rules/pump"
)

// A line of 16 m closed by a dampener or a manifold resonates with a quarter of
// a wave at some 20 Hz: there pressure is many times what its inertance gives,
// and a ramp of 8 s is past it in a second. The more often such a leak is
// measured the less the model fits, and a leak it is all the same.
func TestALeakIsOneHoweverOftenItWasMeasured(t *testing.T) {
	m := NewModel(triplex(), known(inertance))
	for _, valve := range m.Geometry.Valves() {
		for _, size := range []float64{0.05, 0.1, 0.2} {
			for _, blocks := range []float64{40, 180, 10_000} {
				e := leak(m, inertance, valve, size, 500)
				for k := range e.Orders {
					e.Orders[k].Sigma /= math.Sqrt(blocks)
				}
				e.Orders[5].Delta *= cmplx.Rect(7, 1.5)
				e.Efficiency = NumberChange{Seen: true, Baseline: 0.95, Delta: -0.95 * size / 6, Sigma: 0.002 / math.Sqrt(blocks)}
				want := LossInDischargeHalf
				if valve.Side == pump.Discharge {
					want = LossInSuctionHalf
				}
				r := m.Rank(&e)
				if got := r.Causes[0]; got.Cause != want || got.Cylinder != valve.Cylinder || r.OneHead < 0.8 {
					t.Errorf("%v valve, %v %% after %v blocks: one head %.3f, %+v, want %s of cylinder %d", valve, 100*size, blocks, r.OneHead, got, want, valve.Cylinder)
				}
			}
		}
	}
}

// Wherever one order is, up to the size of the ripple, a leak that all else shows stays one.
func TestNoSingleOrderRulesACauseOut(t *testing.T) {
	m := NewModel(triplex(), known(inertance))
	for _, k := range []int{2, 4, 5} {
		for _, by := range []float64{0.1, 0.5, 1} {
			e := leak(m, inertance, pump.Position{Cylinder: 2, Side: pump.Discharge}, 0.1, 20)
			e.Efficiency = NumberChange{Seen: true, Baseline: 1, Delta: -0.1 / 6, Sigma: 1e-4}
			e.Orders[k].Delta = complex(0, by*cmplx.Abs(e.Orders[3].Baseline))
			if r := m.Rank(&e); r.OneHead < 0.8 || r.Causes[0].Cause != LossInSuctionHalf || r.Causes[0].Cylinder != 2 {
				t.Errorf("order %d off by %v ripples: one head %.3g, %+v", k, by, r.OneHead, r.Causes[:2])
			}
		}
	}
}
