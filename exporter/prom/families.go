package prom

import (
	"pumpside/drivers"
	"pumpside/rules"
)

// A pumpFamily is a family with one series a pump.
type pumpFamily struct {
	name    string
	help    string
	counter bool
	value   func(*rules.Snapshot) (float64, bool) // false: no series
}

func total(f func(*rules.Totals) float64) func(*rules.Snapshot) (float64, bool) {
	return func(s *rules.Snapshot) (float64, bool) { return f(&s.Totals), true }
}

func ofCondition(f func(*rules.ConditionView) rules.Number) func(*rules.Snapshot) (float64, bool) {
	return func(s *rules.Snapshot) (float64, bool) {
		if s.Condition == nil {
			return 0, false
		}
		n := f(s.Condition)
		return n.Value, n.Known
	}
}

// pumpFamilies is every family that has one series a pump.
var pumpFamilies = []pumpFamily{
	{"run_seconds_total", "Time the pump has run, as far as it was observed or closed from the drive's hour meter.", true, total(func(t *rules.Totals) float64 { return t.RunSeconds })},
	{"unobserved_seconds_total", "Time in which nobody can say whether the pump ran.", true, total(func(t *rules.Totals) float64 { return t.UnobservedSeconds })},
	{"shaft_revolutions_total", "Revolutions of the pump shaft, which is strokes per plunger.", true, total(func(t *rules.Totals) float64 { return t.Revolutions })},
	{"discharge_strokes_total", "Discharge strokes of all cylinders together.", true, total(func(t *rules.Totals) float64 { return t.DischargeStrokes })},
	{"starts_total", "Starts of the pump.", true, total(func(t *rules.Totals) float64 { return t.Starts })},
	{"pumped_cubic_meters_total", "Glycol pumped.", true, total(func(t *rules.Totals) float64 { return t.PumpedVolume })},
	{"energy_joules_total", "Energy the motor has taken.", true, total(func(t *rules.Totals) float64 { return t.Energy })},
	{"running", "1 while the pump runs, 0 while it stands; absent while unknown.", false, func(s *rules.Snapshot) (float64, bool) { return known(s.Running) }},
	{"volumetric_efficiency_ratio", "Measured flow by what the plungers sweep; absent when not known.", false, ofCondition(func(c *rules.ConditionView) rules.Number { return c.Efficiency })},
	{"hydraulic_power_watts", "Power the glycol gains; absent when not known.", false, ofCondition(func(c *rules.ConditionView) rules.Number { return c.Power })},
	{"wire_to_liquid_efficiency_ratio", "Power the glycol gains by the motor power its drive tells; absent when not known.", false, ofCondition(func(c *rules.ConditionView) rules.Number { return c.WireToLiquid })},
	{"npsh_margin_meters", "Net positive suction head available less required, as a column of glycol; the pump cavitates below 0. Absent when not known.", false, ofCondition(func(c *rules.ConditionView) rules.Number { return c.SuctionMargin })},
	{"valve_leak_ratio", "Size of a leak of one head, by its mean flow, while one is more likely than not.", false, ofCondition(func(c *rules.ConditionView) rules.Number {
		return rules.Number{Known: c.OneHead >= 0.5 && c.Leak.Known(), Value: c.Leak.Middle}
	})},
	{"leak_down_ratio", "Share of the discharge pressure lost in the minute after the last stop; absent before it was measured.", false, func(s *rules.Snapshot) (float64, bool) {
		if s.LeakDown == nil {
			return 0, false
		}
		return s.LeakDown.Newest, true
	}},
	{"leak_down_limit_ratio", "Share from which on leak_down_ratio is told, by what the pump was learned to lose; absent before that is known.", false, func(s *rules.Snapshot) (float64, bool) {
		if s.LeakDown == nil {
			return 0, false
		}
		return s.LeakDown.Limit, s.LeakDown.Known
	}},
	{"observed", "1 while the agent can tell whether the pump runs.", false, func(s *rules.Snapshot) (float64, bool) { return flag(s.Observed), true }},
}

// signalFamily gives the family of role s, from the vocabulary's own table.
func signalFamily(s drivers.Signal) (name, help string) {
	info := s.Info()
	return info.Metric, info.Help + " Absent when bad."
}
