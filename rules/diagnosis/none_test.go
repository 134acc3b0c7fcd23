package diagnosis

import (
	"math/cmplx"
	"testing"

	"pumpside/rules/pump"
)

// What no cause of the table explains is none of these.
func TestNoneOfTheseWinsWhereEveryCauseMisfits(t *testing.T) {
	m := NewModel(triplex(), known(inertance))
	still := leak(m, inertance, pump.Position{Cylinder: 1, Side: pump.Suction}, 0, 200)
	still.Efficiency = NumberChange{Seen: true, Baseline: 0.95, Sigma: 0.001}
	still.Torque = NumberChange{Seen: true, Baseline: 3e-6, Sigma: 1e-8}
	still.Suction = NumberChange{Seen: true, Baseline: 30e3, Sigma: 400}
	ripple := cmplx.Abs(still.Orders[3].Baseline)
	for name, change := range map[string]func(*Evidence){
		"torque up, suction up": func(e *Evidence) { e.Torque.Delta, e.Suction.Delta = 0.3e-6, 25e3 },
		"even orders alone": func(e *Evidence) {
			e.Orders[2].Delta, e.Orders[4].Delta = complex(0.2*ripple, 0), complex(0, 0.2*ripple)
		},
		"torque up, even orders": func(e *Evidence) {
			e.Torque.Delta, e.Orders[2].Delta, e.Orders[4].Delta = 0.3e-6, complex(0.2*ripple, 0), complex(0, 0.2*ripple)
		},
		"suction up, order 2, torque": func(e *Evidence) {
			e.Suction.Delta, e.Torque.Delta, e.Orders[2].Delta = 25e3, 0.3e-6, complex(0.2*ripple, 0)
		},
	} {
		e := still
		change(&e)
		r := m.Rank(&e)
		if r.Causes[0].Cause != NoneOfThese {
			t.Errorf("%s: %+v", name, r.Causes[:3])
		}
	}
}
