package rules

import (
	"testing"
	"time"

	"pumpside/rules/condition"
	"pumpside/rules/diagnosis"
	"pumpside/rules/pump"
)

// watcher is an observer of a triplex at 300 rpm whose pressure is polled every
// 20 ms.
func watcher(changes ...condition.Change) *observer {
	o := &observer{model: diagnosis.NewModel(pump.Geometry{Cylinders: 3, Mechanism: pump.Mechanism{Kind: pump.Sine}}, new(diagnosis.Line)), changes: changes}
	o.operating.Speed, o.pace.interval = 300, 20*time.Millisecond
	return o
}

// A change that is found is not yet one to go there for.
func TestWhatIsWorthAVisit(t *testing.T) {
	order := func(k int) condition.Indicator { return condition.OrderIndicator(pump.Discharge, k) }
	ripple := condition.Change{Indicator: order(3), Learned: true, Baseline: 600e3}
	for _, tt := range []struct {
		name            string
		indicator       condition.Indicator
		baseline, delta complex128
		want            bool
	}{
		{"1 % of efficiency", condition.VolumetricEfficiency, 0.95, -0.01, false},
		{"3 % of efficiency", condition.VolumetricEfficiency, 0.95, -0.03, true},
		{"30 cm more in the tank", condition.SuctionPressure, 150e3, 3e3, false},
		{"a strainer that takes 30 kPa", condition.SuctionPressure, 150e3, -30e3, true},
		{"5 % of torque", condition.TorquePerPressure, 4e-6, 2e-7, false},
		{"15 % of torque", condition.TorquePerPressure, 4e-6, 6e-7, true},
		{"a fifth of the first order", order(1), 10e3, 2e3i, false},
		{"half of it", order(1), 10e3, 5e3i, true},
		{"the second by a twelfth of the ripple", order(2), 1e3, 50e3, false},
		{"the second by a sixth of the ripple", order(2), 1e3, 100e3, true},
		{"all orders together", condition.Together, 0, 9, false},
	} {
		c := condition.Change{Indicator: tt.indicator, Learned: true, Raised: true, Baseline: tt.baseline, Delta: tt.delta}
		if got := watcher(ripple, c).worthVisit(c); got != tt.want {
			t.Errorf("%s: %v, want %v", tt.name, got, tt.want)
		}
	}
}

// That one head loses flow is told by the orders, never by a flow meter alone.
func TestALossOfOneHeadTakesOrders(t *testing.T) {
	change := func(i condition.Indicator, delta complex128) condition.Change {
		return condition.Change{Indicator: i, Learned: true, Raised: true, Baseline: 1, Delta: delta}
	}
	flow := change(condition.VolumetricEfficiency, -0.1)
	first, second := condition.OrderIndicator(pump.Discharge, 1), condition.OrderIndicator(pump.Discharge, 2)
	for _, tt := range []struct {
		name string
		seen []condition.Change
		want bool
	}{
		{"a flow meter alone", []condition.Change{flow}, false},
		{"the first order", []condition.Change{flow, change(first, 0.5)}, true},
		{"the first hardly, the second much", []condition.Change{change(first, 0.1), change(second, 2)}, false},
		{"the second, the first not seen", []condition.Change{change(second, 2)}, true},
	} {
		if got := watcher(tt.seen...).firstMoved(); got != tt.want {
			t.Errorf("%s: %v, want %v", tt.name, got, tt.want)
		}
	}
}
