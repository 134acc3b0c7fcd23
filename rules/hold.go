package rules

import (
	"math"
	"math/cmplx"
	"slices"

	"pumpside/drivers"
	"pumpside/drivers/quantity"
	"pumpside/rules/alarm"
	"pumpside/rules/condition"
	"pumpside/rules/diagnosis"
	"pumpside/rules/pump"
	"pumpside/rules/service"
)

// A followedRepair is work whose effect is being judged, at the speed,
// pressure and temperatures at which the pump was failing.
type followedRepair struct {
	service.Repair
	Band    condition.Band  `json:"band"`
	Verdict service.Verdict `json:"verdict"`
	Why     string          `json:"why,omitempty"`
	// Ripple is the other orders of the pressure: they tell how large a leak
	// is, not whether the work held.
	Ripple []service.Mark `json:"ripple,omitempty"`
	// Leaked and Leaks are the size of the leak before the work, if it was one,
	// and since by all that was measured until the verdict.
	Leaked service.Leak `json:"leaked,omitzero"`
	Leaks  service.Leak `json:"leaks,omitzero"`
}

// A RepairView is the last work whose effect was or is being judged.
type RepairView struct {
	Record  int             `json:"record"` // number in the ledger
	Task    string          `json:"task"`
	At      drivers.Instant `json:"at"`
	Verdict string          `json:"verdict"` // repaired, not_repaired, cannot_tell; "" is not yet
	Why     string          `json:"why,omitempty"`
	// Numbers are what the verdict rests on: once healthy, before the work and
	// since, as far as it was measured.
	Numbers []alarm.Evidence `json:"numbers,omitempty"`
}

// orderOne is the indicator that tells one head from another.
var orderOne = condition.OrderIndicator(pump.Discharge, 1)

// beginRepair notes how the pump was, healthy and failing, before what was
// learned of it is let go. Work that was undone is judged no more.
func (s *State) beginRepair(set *Settings, r *drivers.ServiceRecord) {
	if r.Entry.Undoes > 0 {
		if r.Entry.Undoes == s.Repair.Record {
			s.Repair = followedRepair{}
		}
		return
	}
	i := slices.IndexFunc(set.Tasks, func(t service.Task) bool { return t.Name == r.Entry.Task })
	if i < 0 || !set.Tasks[i].Kind.MayChangeDelivery() || !set.Tasks[i].Kind.Renews(r.Entry.Action) {
		return
	}
	if s.Repair.Verdict == service.NotYet && s.Repair.Record > 0 && len(s.observer.recents) == 0 {
		return // the second line of one visit: judged with the first
	}
	s.Watch.LeakDown = leakDown{} // learned anew
	f, o := &s.Repair, &s.observer
	*f = followedRepair{Repair: service.Repair{Record: r.Number, Task: r.Entry.Task, At: s.moment.At}, Band: o.band}
	for j := range o.recents {
		switch c := &o.recents[j]; {
		case !s.comparable(c, &r.Entry):
		case c.indicator == condition.VolumetricEfficiency || c.indicator == orderOne:
			f.Marks = append(f.Marks, c.mark())
		default:
			f.Ripple = append(f.Ripple, c.mark())
		}
	}
	if o.ranking != nil {
		f.Leaked = service.Leak(o.ranking.Leak)
	}
}

// comparable reports whether an indicator means the same before and after the
// work: a vector needs an index for its angle, and the line as it was.
func (s *State) comparable(c *recent, e *drivers.ServiceEntry) bool {
	return c.learned > 0 && (c.indicator == condition.VolumetricEfficiency || orderOf(c.indicator) > 0 && s.observer.indexed && !e.LineChanged)
}

// orderOf is which order of the discharge pressure an indicator is; 0 for none.
func orderOf(i condition.Indicator) int {
	for k := 1; k <= highestOrder; k++ {
		if i == condition.OrderIndicator(pump.Discharge, k) {
			return k
		}
	}
	return 0
}

func (r *recent) mark() service.Mark {
	m := service.Mark{Name: string(r.indicator), Healthy: point(r.baseline), Failing: point(r.baseline), Sigma: math.Sqrt(r.rough)}
	if r.n > 0 {
		m.Failing = point(r.baseline + r.mean)
	}
	return m
}

func point(z complex128) service.Point { return service.Point{Re: real(z), Im: imag(z)} }

// followRepair takes the newest blocks and journals the verdict when there is
// one.
func (s *State) followRepair(set *Settings) {
	f, o := &s.Repair, &s.observer
	if f.Record == 0 || f.Verdict != service.NotYet || o.judged != s.moment.At.SinceBoot {
		return
	}
	if o.calm(s) && o.band == f.Band {
		for i := range o.changes {
			f.take(&o.changes[i])
		}
	}
	j := f.Judge(s.moment.At)
	if j.Verdict == service.NotYet {
		return
	}
	if f.Leaked.Known() {
		f.Leaks = s.leaks(set, f)
	}
	j = j.Weigh(f.Leaked, f.Leaks)
	f.Verdict, f.Why = j.Verdict, j.Why
	s.record(verdictTexts[j.Verdict], f.Task, f.proof()...)
	s.happened[len(s.happened)-1].Comment = j.Why
}

// take adds the newest block of an indicator to its mark.
func (f *followedRepair) take(c *condition.Change) {
	for _, marks := range [...][]service.Mark{f.Marks, f.Ripple} {
		for j := range marks {
			if marks[j].Name == string(c.Indicator) && c.Value != 0 {
				marks[j].Add(point(c.Value))
			}
		}
	}
}

// leaks is how large a leak is by what was measured since the work, against
// the pump as it was last well.
func (s *State) leaks(set *Settings, f *followedRepair) service.Leak {
	o := &s.observer
	e := diagnosis.Evidence{Speed: o.operating.Speed, Pressure: o.operating.Pressure, Indexed: o.indexed && set.Geometry.NamesCylinders(), Bypass: s.contact(set, drivers.BypassValve), Rate: o.rate(set)}
	for _, marks := range [...][]service.Mark{f.Marks, f.Ripple} {
		for i := range marks {
			if m := &marks[i]; m.Blocks > 0 {
				addEvidence(&e, set, condition.Indicator(m.Name), complexOf(m.Healthy), complexOf(m.Mean)-complexOf(m.Healthy), m.Error())
			}
		}
	}
	r := o.model.Rank(&e)
	return service.Leak(r.Leak)
}

func complexOf(p service.Point) complex128 { return complex(p.Re, p.Im) }

var verdictTexts = map[service.Verdict]string{service.Held: "service_held", service.NotHeld: "service_not_held", service.CannotTell: "service_effect_unknown"}

// proof is the numbers around the repair: volumetric efficiency, how far the
// once-per-turn line is from what it was when the pump was well, and the leak.
func (f *followedRepair) proof() (list []alarm.Evidence) {
	add := func(key string, value float64, d quantity.Dimension) {
		list = append(list, alarm.Evidence{Key: key, Quantity: alarm.Quantity{Value: value, Dimension: d}})
	}
	for i := range f.Marks {
		m := &f.Marks[i]
		switch {
		case m.Blocks == 0:
		case m.Name == string(condition.VolumetricEfficiency):
			add("efficiency_healthy", m.Healthy.Re, quantity.Share)
			add("efficiency_failing", m.Failing.Re, quantity.Share)
			add("efficiency_since", m.Mean.Re, quantity.Share)
		case m.Name == string(orderOne):
			add("order_failing", cmplx.Abs(complexOf(m.Failing)-complexOf(m.Healthy)), quantity.Pressure)
			add("order_since", cmplx.Abs(complexOf(m.Mean)-complexOf(m.Healthy)), quantity.Pressure)
		}
	}
	if f.Leaked.Known() && f.Leaks.Known() {
		add("leak_failing", f.Leaked.Middle, quantity.Share)
		add("leak_since", f.Leaks.Middle, quantity.Share)
		add("leak_since_at_most", f.Leaks.High, quantity.Share)
	}
	return list
}

func (s *State) repairView() *RepairView {
	f := &s.Repair
	if f.Record == 0 {
		return nil
	}
	return &RepairView{Record: f.Record, Task: f.Task, At: f.At, Verdict: f.Verdict.String(), Why: f.Why, Numbers: f.proof()}
}
