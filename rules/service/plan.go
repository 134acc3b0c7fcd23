package service

import (
	"cmp"
	"math/bits"
	"slices"
	"time"

	"pumpside/rules/pump"
)

// A Candidate is one place of one task that will want work some day.
type Candidate struct {
	Pump     string
	Task     *Task
	Position pump.Position
	Used     float64 // share of the life used now
	By       Measure
	Window   Window
}

// A Job is one task of one pump on a visit, at all the places that want it.
type Job struct {
	Pump  string     `json:"pump"`
	Task  string     `json:"task"`
	Kind  Kind       `json:"kind"`
	Parts string     `json:"parts,omitempty"` // in the site's words
	At    []PlaceDue `json:"places"`
	All   bool       `json:"all_places,omitempty"` // of a task whose places are counted apart
	Steps []string   `json:"steps"`
	task  *Task
}

// A PlaceDue is one place of a job, and why it is on the visit.
type PlaceDue struct {
	Position pump.Position `json:"position"`
	Used     float64       `json:"used_ratio"`
	By       Measure       `json:"decided_by,omitempty"`
	Due      time.Time     `json:"due,omitzero"`
	// Why is set when nobody can tell when it falls due; then Due is the
	// soonest, if the pump ran through.
	Why string `json:"why,omitempty"`
}

// A Visit is work to be done together.
type Visit struct {
	On      time.Time `json:"on"` // no later, or something falls due
	Jobs    []Job     `json:"jobs"`
	Offers  []Job     `json:"offers,omitempty"` // not due, but open anyway: to decide there
	Minutes float64   `json:"minutes"`
	Oil     float64   `json:"oil_l,omitempty"`
	Opens   bool      `json:"opens"` // something is opened or touched: the caution comes first
}

// A Plan is the visits up to a horizon, and what cannot be given a date.
type Plan struct {
	Until   time.Time `json:"until"`
	Visits  []Visit   `json:"visits"`
	Undated []Job     `json:"undated,omitempty"`  // much used, but nobody can tell when it falls due
	NoDates string    `json:"no_dates,omitempty"` // why nothing has a date: [NoClock], or ""
}

// undatedFrom is the share used from which a task without a date is told.
const undatedFrom = 0.75

// MakePlan groups what falls due up to a horizon into the fewest visits, so
// that each is done before it falls due and not before it is ripe. What falls
// due again after that is left to the next plan. Of candidates of one pump it
// gives that pump's visits, of all of them the site's.
func MakePlan(candidates []Candidate, now time.Time, horizon time.Duration) Plan {
	p := Plan{Until: now.Add(horizon)}
	var pending, undated []Candidate
	for _, c := range candidates {
		due := c.Window.Due
		if due.Why == NoClock {
			p.NoDates = NoClock
		}
		switch {
		case due.Why != "" && c.Used >= undatedFrom && !due.Soonest.IsZero(): // as if it ran through
			c.Window.Due.Median, c.Window.Ripe = later(due.Soonest, now), now
			pending = append(pending, c)
		case due.Why != "" && c.Used >= undatedFrom:
			undated = append(undated, c)
		case due.Why == "" && !due.Median.IsZero():
			c.Window.Due.Median = later(due.Median, now)
			pending = append(pending, c)
		}
	}
	p.Undated = jobs(undated)
	slices.SortStableFunc(pending, func(a, b Candidate) int { return a.Window.Due.Median.Compare(b.Window.Due.Median) })
	for len(pending) > 0 && !pending[0].Window.Due.Median.After(p.Until) {
		on := pending[0].Window.Due.Median
		var these, others []Candidate
		for _, c := range pending {
			if ripe := c.Window.Ripe; !ripe.IsZero() && !ripe.After(on) {
				these = append(these, c)
			} else {
				others = append(others, c)
			}
		}
		if len(these) == 0 { // its own ripeness lies beyond what can be told
			these, others = pending[:1], pending[1:]
		}
		p.Visits = append(p.Visits, visit(on, these, others))
		pending = others
	}
	return p
}

func visit(on time.Time, these, others []Candidate) Visit {
	v := Visit{On: on, Jobs: jobs(these), Offers: jobs(reachable(these, others))}
	v.Oil = OilFor(v.Jobs)
	for _, j := range v.Jobs {
		v.Minutes += j.task.TakesMinutes()
		v.Opens = v.Opens || j.Kind.Opens()
	}
	return v
}

// OilFor is the litres of oil that jobs need.
func OilFor(jobs []Job) (litres float64) {
	for _, j := range jobs {
		litres += j.task.Oil
	}
	return litres
}

// reachable lists what the work of these lays open among the others.
func reachable(these, others []Candidate) (list []Candidate) {
	for _, o := range others {
		if slices.ContainsFunc(these, func(c Candidate) bool {
			return c.Pump == o.Pump && slices.Contains(c.Task.Kind.Reaches(), o.Task.Kind) && fits(c.Position.Cylinder, o.Position.Cylinder)
		}) {
			list = append(list, o)
		}
	}
	return list
}

// jobs gathers candidates by pump and task, in the order in which kinds are
// worked.
func jobs(candidates []Candidate) (list []Job) {
	for _, c := range candidates {
		i := slices.IndexFunc(list, func(j Job) bool { return j.Pump == c.Pump && j.Task == c.Task.Name })
		if i < 0 {
			i = len(list)
			list = append(list, Job{Pump: c.Pump, Task: c.Task.Name, Kind: c.Task.Kind, Parts: c.Task.Parts, Steps: c.Task.Kind.Steps(), task: c.Task})
		}
		list[i].At = append(list[i].At, PlaceDue{c.Position, c.Used, c.By, c.Window.Due.Median, c.Window.Due.Why})
	}
	slices.SortStableFunc(list, func(a, b Job) int {
		return cmp.Or(cmp.Compare(a.Pump, b.Pump), cmp.Compare(a.Kind.rank(), b.Kind.rank()))
	})
	for i := range list {
		list[i].All = len(list[i].At) > 1 && len(list[i].At) == list[i].task.places()
		slices.SortFunc(list[i].At, func(a, b PlaceDue) int {
			return cmp.Or(cmp.Compare(a.Position.Cylinder, b.Position.Cylinder), cmp.Compare(a.Position.Side, b.Position.Side))
		})
	}
	return list
}

// A Load is how many of one kit to put on the truck.
type Load struct {
	Kit      pump.Kit `json:"kit"`
	Quantity int      `json:"quantity"`
}

// Kits gives the smallest set of one pump's kits that covers its jobs: the
// fewest parts nobody needs, then the fewest kits. What no kit renews is
// missing. Oil comes by litres, not in kits.
func Kits(jobs []Job, kits []pump.Kit, cylinders int) (loads []Load, missing []pump.Component) {
	kits = kits[:min(len(kits), mostKits)]
	var wanted []need
	for _, n := range needs(jobs, max(cylinders, 1)) {
		switch {
		case len(pump.KitsFor(kits, n.component)) > 0:
			wanted = append(wanted, n)
		case n.first && !n.worded:
			missing = append(missing, n.component)
		}
	}
	if len(wanted) == 0 {
		return nil, missing
	}
	best := smallest(kits, wanted, max(cylinders, 1))
	for i, k := range kits {
		if best&(1<<i) != 0 {
			loads = append(loads, Load{k, len(served(k, wanted, cylinders))})
		}
	}
	return loads, missing
}

// A need is a component that jobs renew, and on which cylinders.
type need struct {
	component pump.Component
	cylinders []int
	first     bool // what the task is about, not what is renewed along with it
	worded    bool // the site says in words what to bring, or nothing is renewed
}

func needs(jobs []Job, cylinders int) (list []need) {
	for _, j := range jobs {
		if j.Kind == Oil {
			continue
		}
		for n, c := range j.Kind.Components() {
			for _, at := range j.At {
				if c == pump.SuctionValve && at.Position.Side == pump.Discharge || c == pump.DischargeValve && at.Position.Side == pump.Suction {
					continue
				}
				i := slices.IndexFunc(list, func(n need) bool { return n.component == c })
				if i < 0 {
					i = len(list)
					list = append(list, need{component: c})
				}
				list[i].worded = list[i].worded || j.Parts != "" || slices.Contains(keepsParts, j.Kind)
				list[i].first = list[i].first || n == 0 || c == pump.DischargeValve
				list[i].add(at.Position.Cylinder, cylinders)
			}
		}
	}
	return list
}

// keepsParts are the kinds of work that need no spare as a rule.
var keepsParts = []Kind{Strainer, DampenerCharge, ReliefTest}

// add notes a cylinder; 0 is all of them.
func (n *need) add(cylinder, cylinders int) {
	for c := 1; c <= cylinders; c++ {
		if fits(cylinder, c) && !slices.Contains(n.cylinders, c) {
			n.cylinders = append(n.cylinders, c)
		}
	}
}

// mostKits is how many kits of a pump are tried in every combination.
const mostKits = 12

// smallest tries every set of kits, as bits.
func smallest(kits []pump.Kit, wanted []need, cylinders int) (best uint) {
	least := -1
	for set := uint(1); set < 1<<len(kits); set++ {
		parts := map[pump.Component]int{} // brought, in all cylinders
		for i, k := range kits {
			if set&(1<<i) == 0 {
				continue
			}
			n := cylinders
			if k.PerCylinder {
				n = len(served(k, wanted, cylinders))
			}
			for _, c := range k.Renews {
				parts[c] += n
			}
		}
		cost := bits.OnesCount(set)
		for _, n := range parts {
			cost += 100 * n
		}
		covered := !slices.ContainsFunc(wanted, func(n need) bool { return parts[n.component] < len(n.cylinders) })
		if covered && (least < 0 || cost < least) {
			best, least = set, cost
		}
	}
	return best
}

// served lists what a kit is brought for: the cylinders that need it, or the
// pump once.
func served(k pump.Kit, wanted []need, cylinders int) (list []int) {
	if !k.PerCylinder {
		return []int{0}
	}
	for c := 1; c <= cylinders; c++ {
		if slices.ContainsFunc(wanted, func(n need) bool { return slices.Contains(k.Renews, n.component) && slices.Contains(n.cylinders, c) }) {
			list = append(list, c)
		}
	}
	return list
}
