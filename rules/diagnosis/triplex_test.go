package diagnosis

import (
	"strings"
	"testing"

	"pumpside/rules/pump"
)

// Of a pump that has not three cylinders no cause is told, and none of what it
// shows is an error.
func TestOnlyOfATriplexCausesAreTold(t *testing.T) {
	for n := 1; n <= 9; n++ {
		g := triplex()
		g.Cylinders = n
		if err := g.Validate(); err != nil {
			t.Fatal(err)
		}
		m := NewModel(g, known(inertance))
		e := leak(NewModel(triplex(), known(inertance)), inertance, pump.Position{Cylinder: 1, Side: pump.Suction}, 0.2, 200)
		e.Efficiency = NumberChange{Seen: true, Baseline: 0.95, Delta: -0.07, Sigma: 0.001}
		r := m.Rank(&e)
		told := r.OneHead > 0.5 && r.Causes[0].Cause != NoneOfThese
		if told != (n == 3) || n != 3 && (r.Named || !strings.Contains(r.Why, "three cylinders") || len(r.Causes) != 1) {
			t.Errorf("%d cylinders: %+v", n, r)
		}
	}
}
