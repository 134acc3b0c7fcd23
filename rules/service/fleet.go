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

// A PartLife is how long one kind of part lasts, over many pumps, until it
// fails in one way. Ages are run hours.
type PartLife struct {
	Part    pump.Component `json:"part"`
	Mode    string         `json:"failure_mode"` // ISO 14224; "" is any
	Fit     *Weibull       `json:"fit,omitempty"`
	B10     float64        `json:"b10_h,omitempty"`
	Bounds  *Bounds        `json:"b10_90,omitempty"`
	LifeIn  *Bounds        `json:"characteristic_life_90,omitempty"`
	ShapeIn *Bounds        `json:"shape_90,omitempty"`

	Failures  int     `json:"failures"` // wear, not infant
	Suspended int     `json:"suspensions"`
	Infants   int     `json:"infant_failures"` // within 100 h after work on the part
	Suggested float64 `json:"suggested_interval_h,omitempty"`
	Says      string  `json:"says"`
}

// A Fleet is pumps whose parts are compared: those of one gateway, or of an
// exported file of many.
type Fleet []FleetPump

// A FleetPump is one pump with its ledger. Now is its run time today; parts
// still in it have not failed by then.
type FleetPump struct {
	Tasks  []Task
	Ledger []drivers.ServiceRecord
	Now    time.Duration
}

// A life is one part from its fitting to its end or to today.
type partLife struct {
	part   pump.Component
	mode   string // how it failed; "" when it had not
	age    time.Duration
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
		groups[PartLife{Part: l.part}] = true
		if l.mode != "" {
			groups[PartLife{Part: l.part, Mode: l.mode}] = true
		}
	}
	list := slices.Collect(maps.Keys(groups))
	slices.SortFunc(list, func(a, b PartLife) int { return cmp.Or(cmp.Compare(a.Part, b.Part), cmp.Compare(a.Mode, b.Mode)) })
	for i := range list {
		list[i].judge(lives)
	}
	return list
}

func (p *FleetPump) lives() (list []partLife) {
	fitted := map[partAt]time.Duration{}
	for _, r := range InForce(p.Ledger) {
		i := slices.IndexFunc(p.Tasks, func(t Task) bool { return t.Name == r.Entry.Task })
		if i < 0 || !p.Tasks[i].Kind.Renews(r.Entry.Action) || len(p.Tasks[i].Kind.Components()) == 0 {
			continue
		}
		t := &p.Tasks[i]
		for _, place := range t.at(positionOf(&r.Entry)) {
			at := partAt{i, place}
			if since, known := fitted[at]; known && r.RunTime > since {
				list = append(list, ended(t, place, r, r.RunTime-since))
			}
			fitted[at] = r.RunTime
		}
	}
	for at, since := range fitted {
		if p.Now > since {
			list = append(list, partLife{part: partIn(&p.Tasks[at.task], at.place), age: p.Now - since})
		}
	}
	return list
}

type partAt struct{ task, place int }

// partIn is the part at a place: the two valves of a cylinder live apart.
func partIn(t *Task, place int) pump.Component {
	if t.Kind == Valves && t.Position(place).Side == pump.Discharge {
		return pump.DischargeValve
	}
	return t.Kind.Components()[0]
}

func ended(t *Task, place int, r *drivers.ServiceRecord, age time.Duration) partLife {
	l := partLife{part: partIn(t, place), age: age}
	if Found(r.Entry.Found).Failed() {
		l.mode, _ = Coded(l.part, Found(r.Entry.Found))
		l.infant = age < infant
	}
	return l
}

func (p *PartLife) judge(lives []partLife) {
	var spans []Span
	for _, l := range lives {
		if l.part != p.Part {
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
		spans = append(spans, Span{Age: l.age.Hours(), Failed: failed})
	}
	p.Says = fmt.Sprintf("%d failures are too few to say anything; from %d on", p.Failures, fewestFailures)
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
		p.Says = fmt.Sprintf("one in ten fails by %.0f h (%.0f to %.0f h with 90 %% confidence): a change by then would prevent the others", p.B10, p.Bounds.Low, p.Bounds.High)
	}
}
