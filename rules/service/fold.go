package service

import (
	"cmp"
	"slices"
	"time"

	"pumpside/drivers"
	"pumpside/rules/pump"
)

// A TaskState is what is remembered of one task: counters of its own, and what
// the ledger comes down to.
type TaskState struct {
	Task  string          `json:"task"`
	Since drivers.Instant `json:"since,omitzero"` // when the agent first saw it, by a good clock as soon as there was one
	Wear  Wear            `json:"wear,omitzero"`

	Places []Done `json:"places"` // by [Task.Position]; nothing but [Fold] writes it
}

// Begin starts the task's own counters if they have not begun: its calendar at
// now, its meters at the pump's totals. A calendar begun by a clock that was
// not synchronised is put right at the first now that is, within the same
// boot exactly, else to begin at now. After a true the ledger must be folded
// again.
func (s *TaskState) Begin(t *Task, now drivers.Instant, totals *Totals) (begun bool) {
	begun = s.Wear.begin(t, totals)
	if !s.Since.IsZero() && (s.Since.Synchronized || !now.Synchronized) {
		return begun
	}
	since := now
	if !s.Since.IsZero() && s.Since.SameBoot(now) {
		since = s.Since
		since.Wall, since.Synchronized = now.Wall.Add(since.SinceBoot-now.SinceBoot), now.Synchronized
	}
	s.Since = since
	for i := range s.Places {
		s.Places[i].Since = s.since(&s.Places[i])
	}
	return begun
}

func (s *TaskState) since(d *Done) drivers.Instant {
	if d.Count == 0 {
		return s.Since
	}
	return d.At
}

// repairSpan is how soon after a repair of the hydraulic end an oil change
// still belongs to it, in run time: the oil that went in with the repair is
// the one that runs in (common practice, no source).
const repairSpan = 24 * time.Hour

// Fold gives the places of every task from the pump's ledger: the records that
// were not cancelled, in the order in which the work was done. It is the only
// way from a record to a life, so folding again changes nothing.
func Fold(tasks []Task, states []TaskState, records []drivers.ServiceRecord) {
	for i := range states {
		states[i].Places = make([]Done, tasks[i].places())
		for j := range states[i].Places {
			states[i].Places[j].Totals = states[i].Wear.then(&tasks[i], Totals{})
		}
	}
	var repaired *drivers.ServiceRecord
	for _, r := range InForce(records) {
		if r.Entry.HydraulicEnd {
			repaired = r
			runIn(tasks, states)
		}
		i := slices.IndexFunc(tasks, func(t Task) bool { return t.Name == r.Entry.Task })
		if i >= 0 {
			states[i].fold(&tasks[i], r, repaired)
		}
	}
	for i := range states {
		for j := range states[i].Places {
			states[i].Places[j].Since = states[i].since(&states[i].Places[j])
		}
	}
}

// runIn lets the oil that is in the pump, or that comes with the repair, run
// in.
func runIn(tasks []Task, states []TaskState) {
	for i := range tasks {
		if tasks[i].FirstRunTime > 0 {
			for j := range states[i].Places {
				states[i].Places[j].RunIn = true
			}
		}
	}
}

func (s *TaskState) fold(t *Task, r *drivers.ServiceRecord, repaired *drivers.ServiceRecord) {
	position := positionOf(&r.Entry)
	at := t.at(position)
	if len(t.Positions) == 0 && position != (pump.Position{}) {
		return // one part renewed of many that are counted as one
	}
	switch {
	case r.Entry.Action == Swapped:
		s.swap(t, at, r.Entry.Swapped)
	case t.Kind.Renews(r.Entry.Action):
		inRepair := repaired != nil && r.RunTime-repaired.RunTime <= repairSpan
		for _, i := range at {
			d := &s.Places[i]
			*d = Done{Count: d.Count + 1, Totals: s.Wear.then(t, totalsOf(r)), At: r.At, By: by(r), RunIn: d.RunIn && inRepair}
		}
	}
}

// swap exchanges the lives of two places: the parts keep their age.
func (s *TaskState) swap(t *Task, at []int, other *drivers.ServicePlace) {
	if other == nil {
		return
	}
	to := t.at(positionAt(other.Cylinder, other.Side))
	for n := range min(len(at), len(to)) {
		s.Places[at[n]], s.Places[to[n]] = s.Places[to[n]], s.Places[at[n]]
	}
}

func totalsOf(r *drivers.ServiceRecord) Totals {
	return Totals{RunTime: r.RunTime, Strokes: r.Strokes, WarmTime: r.WarmTime, Worn: r.Worn, Share: r.Share}
}

func by(r *drivers.ServiceRecord) string { return cmp.Or(r.Entry.By, r.User) }

func positionOf(e *drivers.ServiceEntry) pump.Position { return positionAt(e.Cylinder, e.Side) }

func positionAt(cylinder int, side string) pump.Position {
	p := pump.Position{Cylinder: cylinder}
	_ = p.Side.UnmarshalText([]byte(side)) // checked when it was accepted
	return p
}

// InForce gives the records that were not cancelled and cancel nothing, in the
// order in which the work was done: by the pump's run time, which no clock
// changes, then by the clock, then as they were entered.
func InForce(records []drivers.ServiceRecord) []*drivers.ServiceRecord {
	cancelled := map[int]bool{}
	for i := range records {
		if n := records[i].Entry.Undoes; n > 0 {
			cancelled[n] = true
		}
	}
	list := make([]*drivers.ServiceRecord, 0, len(records))
	for i := range records {
		if r := &records[i]; r.Entry.Undoes == 0 && !cancelled[r.Number] {
			list = append(list, r)
		}
	}
	slices.SortStableFunc(list, func(a, b *drivers.ServiceRecord) int {
		return cmp.Or(cmp.Compare(a.RunTime, b.RunTime), a.At.Wall.Compare(b.At.Wall), cmp.Compare(a.Number, b.Number))
	})
	return list
}
