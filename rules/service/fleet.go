package service

import (
	"cmp"
	"fmt"
	"maps"
	"slices"
	"time"

	"pumpside/drivers"
	"pumpside/rules/pump"
)

// infant is the age below which a failure is put down to the work before it:
// kept apart from wear (common practice, no source).
const infant = 100 * time.Hour

// fewestFailures is how many failures of one kind there must be before
// anything is said of their life.
const fewestFailures = 5

// An AgeUnit is what ages of parts are counted in: that of the task's interval.
type AgeUnit string

// The units of age.
const (
	InHours   AgeUnit = "run_h"
	InStrokes AgeUnit = "strokes_per_plunger"
)

// write writes an age with its unit.
func (u AgeUnit) write(age float64) string {
	switch {
	case u == InStrokes && age >= 100e6:
		return fmt.Sprintf("%.0f million strokes", age/1e6)
	case u == InStrokes:
		return fmt.Sprintf("%.3g million strokes", age/1e6)
	}
	return fmt.Sprintf("%.0f h", age)
}

// A PartLife is how long one kind of part lasts, over many pumps, until it
// fails in one way.
type PartLife struct {
	Part    pump.Component `json:"part"`
	Mode    string         `json:"failure_mode"` // ISO 14224; "" is any
	Unit    AgeUnit        `json:"unit"`         // of all ages here
	Fit     *Weibull       `json:"fit,omitempty"`
	B10     float64        `json:"b10,omitempty"`
	Bounds  *Bounds        `json:"b10_90,omitempty"`
	LifeIn  *Bounds        `json:"characteristic_life_90,omitempty"`
	ShapeIn *Bounds        `json:"shape_90,omitempty"`

	Failures  int     `json:"failures"` // wear, not infant
	Suspended int     `json:"suspensions"`
	Infants   int     `json:"infant_failures"` // within 100 h after work on the part
	Suggested float64 `json:"suggested_interval,omitempty"`
	Says      string  `json:"says"`
}

// A Fleet is pumps whose parts are compared: those of one gateway, or of an
// exported file of many.
type Fleet []FleetPump

// A FleetPump is one pump with its ledger. Now is its run time and strokes
// today; parts still in it have not failed by then.
type FleetPump struct {
	Tasks  []Task
	Ledger []drivers.ServiceRecord
	Now    Totals
}

// A life is one part from its fitting to its end or to today.
type partLife struct {
	part   pump.Component
	unit   AgeUnit
	mode   string // how it failed; "" when it had not
	age    float64
	infant bool
}

// Lives tells for each kind of part and failure mode how long it lasts. A part
// counts from a record that renewed it: how old it was before the first one is
// not known. One renewed in good state, one that failed in another way and one
// still at work are suspensions.
func (f Fleet) Lives() []PartLife {
	var lives []partLife
	for _, p := range f {
		lives = append(lives, p.lives()...)
	}
	groups := map[PartLife]bool{}
	for _, l := range lives {
		groups[PartLife{Part: l.part, Unit: l.unit}] = true
		if l.mode != "" {
			groups[PartLife{Part: l.part, Unit: l.unit, Mode: l.mode}] = true
		}
	}
	list := slices.Collect(maps.Keys(groups))
	slices.SortFunc(list, func(a, b PartLife) int {
		return cmp.Or(cmp.Compare(a.Part, b.Part), cmp.Compare(a.Unit, b.Unit), cmp.Compare(a.Mode, b.Mode))
	})
	for i := range list {
		list[i].judge(lives)
	}
	return list
}

func (p *FleetPump) lives() (list []partLife) {
	fitted := map[partAt]Totals{}
	for _, r := range InForce(p.Ledger) {
		i := slices.IndexFunc(p.Tasks, func(t Task) bool { return t.Name == r.Entry.Task })
		if i < 0 || len(p.Tasks[i].Kind.Components()) == 0 {
			continue
		}
		t, now := &p.Tasks[i], totalsOf(r)
		switch {
		case r.Entry.Action == Swapped:
			exchange(fitted, t, i, r)
		case t.Kind.Renews(r.Entry.Action):
			for _, place := range t.at(positionOf(&r.Entry)) {
				at := partAt{i, place}
				if since, known := fitted[at]; known && now.RunTime > since.RunTime {
					list = append(list, ended(t, place, r, since))
				}
				fitted[at] = now
			}
		}
	}
	for at, since := range fitted {
		if t := &p.Tasks[at.task]; p.Now.RunTime > since.RunTime {
			list = append(list, partLife{part: partIn(t, at.place), unit: t.ageUnit(), age: t.age(since, p.Now)})
		}
	}
	return slices.DeleteFunc(list, func(l partLife) bool { return !(l.age > 0) })
}

// exchange lets two parts go on with the age they have, each in the other's
// place.
func exchange(fitted map[partAt]Totals, t *Task, i int, r *drivers.ServiceRecord) {
	from, to := t.at(positionOf(&r.Entry)), t.at(positionAt(r.Entry.Swapped.Cylinder, r.Entry.Swapped.Side))
	if len(from) != 1 || len(to) != 1 {
		return
	}
	a, b := partAt{i, from[0]}, partAt{i, to[0]}
	ta, hasA := fitted[a]
	tb, hasB := fitted[b]
	delete(fitted, a)
	delete(fitted, b)
	if hasA {
		fitted[b] = ta
	}
	if hasB {
		fitted[a] = tb
	}
}

// ageUnit is what the task's parts age in.
func (t *Task) ageUnit() AgeUnit {
	if t.Strokes > 0 {
		return InStrokes
	}
	return InHours
}

func (t *Task) age(since, now Totals) float64 {
	if t.ageUnit() == InStrokes {
		return now.Strokes - since.Strokes
	}
	return (now.RunTime - since.RunTime).Hours()
}

type partAt struct{ task, place int }

// partIn is the part at a place: the two valves of a cylinder live apart.
func partIn(t *Task, place int) pump.Component {
	if t.Kind == Valves && t.Position(place).Side == pump.Discharge {
		return pump.DischargeValve
	}
	return t.Kind.Components()[0]
}

func ended(t *Task, place int, r *drivers.ServiceRecord, since Totals) partLife {
	l := partLife{part: partIn(t, place), unit: t.ageUnit(), age: t.age(since, totalsOf(r))}
	if Found(r.Entry.Found).Failed() {
		l.mode, _ = Coded(l.part, Found(r.Entry.Found))
		l.infant = r.RunTime-since.RunTime < infant
	}
	return l
}

func (p *PartLife) judge(lives []partLife) {
	var spans []Span
	for _, l := range lives {
		if l.part != p.Part || l.unit != p.Unit {
			continue
		}
		failed := l.mode != "" && (p.Mode == "" || l.mode == p.Mode)
		switch {
		case failed && l.infant:
			p.Infants++
			continue
		case failed:
			p.Failures++
		default:
			p.Suspended++
		}
		spans = append(spans, Span{Age: l.age, Failed: failed})
	}
	p.Says = fmt.Sprintf("%d failed: too few to say anything before there are %d", p.Failures, fewestFailures)
	if p.Failures < fewestFailures {
		return
	}
	w, err := FitWeibull(spans)
	if err != nil {
		p.Says = err.Error()
		return
	}
	b10, life, shape := w.ByBounds(0.1), w.LifeBounds(), w.ShapeBounds()
	p.Fit, p.B10, p.Bounds, p.LifeIn, p.ShapeIn = &w, w.By(0.1), &b10, &life, &shape
	p.advise(shape)
}

// advise puts the fit into words. Nothing changes an interval but a person.
func (p *PartLife) advise(shape Bounds) {
	switch {
	case p.Fit.Shape < 1:
		p.Says = "old parts fail less often than new ones: more frequent changing makes it worse"
	case shape.Low < 1:
		p.Says = "age may have nothing to do with these failures: changing by hours may not help"
	default:
		p.Suggested = p.B10
		p.Says = "one in ten fails by " + p.Write(p.B10) + ": a change by then would prevent the others"
	}
}

// Write gives an age of the part in words, with its unit.
func (p *PartLife) Write(age float64) string { return p.Unit.write(age) }
