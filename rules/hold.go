package rules

import (
	"math"
	"slices"

	"pumpside/drivers"
	"pumpside/drivers/quantity"
	"pumpside/rules/alarm"
	"pumpside/rules/condition"
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
}

// A RepairView is the last work whose effect was or is being judged.
type RepairView struct {
	Record  int             `json:"record"` // number in the ledger
	Task    string          `json:"task"`
	At      drivers.Instant `json:"at"`
	Verdict string          `json:"verdict"` // repaired, not_repaired, cannot_tell; "" is not yet
	Why     string          `json:"why,omitempty"`
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
	s.Repair = followedRepair{Repair: service.Repair{Record: r.Number, Task: r.Entry.Task, At: s.moment.At}, Band: s.observer.band}
	for j := range s.observer.recents {
		if c := &s.observer.recents[j]; s.comparable(c, &r.Entry) {
			s.Repair.Marks = append(s.Repair.Marks, c.mark())
		}
	}
}

// comparable reports whether an indicator means the same before and after the
// work: a vector needs an index for its angle, and the line as it was.
func (s *State) comparable(c *recent, e *drivers.ServiceEntry) bool {
	return c.learned > 0 && (c.indicator == condition.VolumetricEfficiency || c.indicator == orderOne && s.observer.indexed && !e.LineChanged)
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
func (s *State) followRepair() {
	f, o := &s.Repair, &s.observer
	if f.Record == 0 || f.Verdict != service.NotYet || o.judged != s.moment.At.SinceBoot {
		return
	}
	if o.calm(s) && o.band == f.Band {
		for i := range o.changes {
			c := &o.changes[i]
			for j := range f.Marks {
				if f.Marks[j].Name == string(c.Indicator) && c.Value != 0 {
					f.Marks[j].Add(point(c.Value))
				}
			}
		}
	}
	j := f.Judge(s.moment.At)
	if j.Verdict == service.NotYet {
		return
	}
	f.Verdict, f.Why = j.Verdict, j.Why
	s.record(verdictTexts[j.Verdict], f.Task, f.proof()...)
	s.happened[len(s.happened)-1].Comment = j.Why
}

var verdictTexts = map[service.Verdict]string{service.Held: "service_held", service.NotHeld: "service_not_held", service.CannotTell: "service_effect_unknown"}

// proof is the volumetric efficiency around the repair.
func (f *followedRepair) proof() (list []alarm.Evidence) {
	for i := range f.Marks {
		m := &f.Marks[i]
		if m.Name != string(condition.VolumetricEfficiency) || m.Blocks == 0 {
			continue
		}
		for _, row := range []struct {
			key string
			at  service.Point
		}{{"efficiency_healthy", m.Healthy}, {"efficiency_failing", m.Failing}, {"efficiency_since", m.Mean}} {
			list = append(list, alarm.Evidence{Key: row.key, Quantity: alarm.Quantity{Value: row.at.Re, Dimension: quantity.Share}})
		}
	}
	return list
}

func (s *State) repairView() *RepairView {
	f := &s.Repair
	if f.Record == 0 {
		return nil
	}
	return &RepairView{Record: f.Record, Task: f.Task, At: f.At, Verdict: f.Verdict.String(), Why: f.Why}
}
