package service

import (
	"pumpside/drivers"
	"pumpside/rules/pump"
)

// A Done is when a task was last done at one place. The zero Done means never:
// life counts from the pump's first hour and, for the calendar, from Since.
type Done struct {
	Count  int             `json:"count"` // how many times it was done
	Totals Totals          `json:"totals"`
	At     drivers.Instant `json:"at,omitzero"`
	By     string          `json:"by,omitempty"`
	// Since is where calendar time begins: when the task was done, or when
	// the agent first saw it; moved to the first synchronised moment when the
	// clock was wrong then.
	Since drivers.Instant `json:"since,omitzero"`
	// RunIn is whether new oil runs in: the first interval counts.
	RunIn bool `json:"run_in,omitzero"`
}

// A Measure is what decides a task's life.
type Measure string

// The measures.
const (
	ByRunTime   Measure = "run_time"
	ByWarmTime  Measure = "temperature_weighted_run_time"
	ByStrokes   Measure = "strokes_per_plunger"
	ByWorn      Measure = "pressure_weighted_strokes"
	ByTable     Measure = "interval_table"
	ByCalendar  Measure = "calendar"
	ByCondition Measure = "condition" // the diagnosis asks for it
)

// A Life is how much of a task's interval is used.
type Life struct {
	Used  float64 // 1 is due; 0 just done
	By    Measure // the measure used most; "" for a task without intervals
	Spent float64 // in seconds for times, strokes for strokes, shares for a table
	Limit float64 // the interval in the same unit
	// CalendarKnown is false when calendar time cannot be told: the clock is
	// or was not synchronised. A task with other measures goes on by those.
	CalendarKnown bool
}

// A use is one measure of a life.
type use struct {
	by           Measure
	spent, limit float64
}

// uses lists the measures of run and strokes that t has, with what is spent.
func (t *Task) uses(done *Done, totals *Totals) [3]use {
	var list [3]use
	run := (totals.RunTime - done.Totals.RunTime).Seconds()
	switch {
	case t.RunsIn(done):
		list[0] = use{ByRunTime, run, t.FirstRunTime.Seconds()}
	case t.Warm.Step > 0:
		// Weighted hours are never fewer than hours.
		list[0] = use{ByWarmTime, max(run, (totals.WarmTime - done.Totals.WarmTime).Seconds()), t.RunTime.Seconds()}
	default:
		list[0] = use{ByRunTime, run, t.RunTime.Seconds()}
	}
	list[1] = use{ByStrokes, totals.Strokes - done.Totals.Strokes, t.Strokes}
	if t.Pressure.Reference > 0 {
		list[1] = use{ByWorn, totals.Worn - done.Totals.Worn, t.Strokes}
	}
	if len(t.Table) > 0 {
		list[2] = use{ByTable, totals.Share - done.Totals.Share, 1}
	}
	return list
}

// Used measures the life of t at the moment now.
func (t *Task) Used(done *Done, totals *Totals, now drivers.Instant) Life {
	life := Life{CalendarKnown: true}
	for _, u := range t.uses(done, totals) {
		life.consider(u)
	}
	if t.Calendar > 0 {
		spent, known := now.Since(done.Since)
		life.CalendarKnown = known && !done.Since.IsZero()
		if life.CalendarKnown {
			life.consider(use{ByCalendar, max(spent, 0).Seconds(), t.Calendar.Seconds()})
		}
	}
	return life
}

// consider takes u into account when more of it is used than of what was
// considered before.
func (l *Life) consider(u use) {
	if u.limit <= 0 {
		return
	}
	if used := u.spent / u.limit; l.By == "" || used > l.Used {
		l.Used, l.By, l.Spent, l.Limit = used, u.by, u.spent, u.limit
	}
}

// A Status is what a life comes down to.
type Status uint8

// The statuses, in rising order.
const (
	InLife Status = iota
	DueSoon
	Due
	Overdue
)

var statusWords = [...]string{"in_life", "due_soon", "due", "overdue"}

// String gives the word for s.
func (s Status) String() string { return statusWords[min(int(s), len(statusWords)-1)] }

// Status judges a life against the shares of t.
func (t *Task) Status(l Life) Status {
	switch {
	case l.By == "":
		return InLife
	case l.Used >= t.Overdue:
		return Overdue
	case l.Used >= 1:
		return Due
	case l.Used >= t.DueSoon:
		return DueSoon
	}
	return InLife
}

// SuspectFrom is how probable it must be that one of a task's parts is at
// fault for the diagnosis to ask for the task (common practice, no source).
const SuspectFrom = 0.3

// Asked is how probable it is that a part which t renews at that place is at
// fault, by findings that advise a visit. Only one of the findings is true, so
// their probabilities add up.
func (t *Task) Asked(at pump.Position, suspects []pump.Finding) (sum float64) {
	for _, f := range suspects {
		if f.Visit && t.Takes(f.Component) && fits(f.Position.Cylinder, at.Cylinder) && fits(f.Position.Side, at.Side) {
			sum += float64(f.Probability)
		}
	}
	return min(sum, 1)
}

// Suspected gives life, or due by condition when the diagnosis asks for the
// task at that place.
func (t *Task) Suspected(life Life, at pump.Position, suspects []pump.Finding) Life {
	if p := t.Asked(at, suspects); p >= SuspectFrom && life.Used < 1 {
		life.Used, life.By, life.Spent, life.Limit = 1, ByCondition, p, SuspectFrom
	}
	return life
}
