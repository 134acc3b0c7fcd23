package service

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"pumpside/drivers"
	"pumpside/rules/pump"
)

// A Pump is what accepting a record needs to know of the pump.
type Pump struct {
	ID        string
	Cylinders int // 0 is not known: any cylinder is believed
	Tasks     []Task
	States    []TaskState
	Duty      *Duty
	Ledger    []drivers.ServiceRecord
	Totals    Totals          // now
	Opening   drivers.Opening // as far as it is in Totals
	Believed  []pump.Finding
}

// futureSpan is how far ahead of the agent's clock a time may lie: clocks of
// telephones differ.
const futureSpan = 5 * time.Minute

// Where a record's run time and strokes are from.
const (
	FromCounters = "counters" // the agent's own, at the moment
	FromHistory  = "history"  // its own, of the day it was done
	FromTold     = "told"     // by the person: the agent did not see the pump then
)

// Accept turns what a person says into the next line of the pump's ledger, or
// gives the reason why not. It changes nothing.
func (p *Pump) Accept(e drivers.ServiceEntry, user string, now drivers.Instant) (drivers.ServiceRecord, error) {
	now.Wall = now.Wall.Truncate(time.Millisecond) // as the store keeps it
	r := drivers.ServiceRecord{Pump: p.ID, Number: p.next(), Entered: now, User: user, At: now, Entry: e}
	if strings.TrimSpace(user) == "" {
		return r, errors.New("a service record needs the name of the person who did the work")
	}
	if e.Undoes != 0 {
		return r, p.acceptUndo(&r)
	}
	r.Entry.Action = cmp.Or(e.Action, Performed)
	task, err := p.check(&r.Entry)
	if err != nil {
		return r, err
	}
	if task != nil && task.Kind == DampenerCharge && task.Kind.Renews(r.Entry.Action) {
		r.Entry.LineChanged = true // a dampener turns the phases of the pressure
	}
	if err := p.when(&r, task); err != nil {
		return r, err
	}
	p.dispute(&r)
	p.encode(&r, task)
	return r, nil
}

// Check gives the reason why Accept would refuse an entry whatever the pump has
// run; nil when that cannot be said beforehand. It needs ID, Cylinders, Tasks
// and Ledger only, so that a typing mistake need not get as far as the agent.
func (p *Pump) Check(e drivers.ServiceEntry, now time.Time) error {
	if e.Undoes != 0 {
		return p.acceptUndo(&drivers.ServiceRecord{Entry: e})
	}
	e.Action = cmp.Or(e.Action, Performed)
	if _, err := p.check(&e); err != nil {
		return err
	}
	if e.At.IsZero() && e.RunHours != nil {
		return errHoursNeedTime
	}
	return possible(e.At, now)
}

// errHoursNeedTime: run hours of no moment say nothing.
var errHoursNeedTime = errors.New("run hours at the time of the work need that time too (--at)")

// possible is whether work can have been done at a time; the zero one is now.
func possible(at, now time.Time) error {
	switch {
	case at.IsZero():
		return nil
	case at.After(now.Add(futureSpan)):
		return fmt.Errorf("%s lies in the future; the agent's clock says %s", stamp(at), stamp(now))
	case at.Before(now.AddDate(-100, 0, 0)):
		return fmt.Errorf("%s is more than a hundred years ago", stamp(at))
	}
	return nil
}

func (p *Pump) next() int {
	n := 0
	for i := range p.Ledger {
		n = max(n, p.Ledger[i].Number)
	}
	return n + 1
}

func (p *Pump) acceptUndo(r *drivers.ServiceRecord) error {
	n := r.Entry.Undoes
	i := slices.IndexFunc(p.Ledger, func(r drivers.ServiceRecord) bool { return r.Number == n })
	switch {
	case i < 0:
		return fmt.Errorf("there is no record %d of this pump; it has %d", n, len(p.Ledger))
	case p.Ledger[i].Entry.Undoes > 0:
		return fmt.Errorf("record %d is itself an undo; record the work again instead", n)
	case slices.ContainsFunc(p.Ledger, func(r drivers.ServiceRecord) bool { return r.Entry.Undoes == n }):
		return fmt.Errorf("record %d was already taken back", n)
	}
	// What it cancels is kept in the record; what it says itself is only why.
	r.Entry = drivers.ServiceEntry{Undoes: n, Task: p.Ledger[i].Entry.Task, Note: r.Entry.Note}
	r.RunTime, r.Strokes, r.Counted, r.Opening = p.Totals.RunTime, p.Totals.Strokes, FromCounters, &p.Opening
	return nil
}

// check looks at everything that does not depend on time. The task is nil when
// the record is about none: oil topped up, or a note.
func (p *Pump) check(e *drivers.ServiceEntry) (*Task, error) {
	i := slices.IndexFunc(p.Tasks, func(t Task) bool { return t.Name == e.Task })
	if i < 0 && !e.AboutNoTask() {
		return nil, fmt.Errorf("there is no service task %q on this pump; it has %s", e.Task, p.taskNames())
	}
	var task *Task
	if i >= 0 {
		task = &p.Tasks[i]
	}
	return task, cmp.Or(
		oneOf("action", e.Action, Actions()),
		oneOf("reason", e.Reason, Reasons()),
		oneOf("state of a part", e.Found, Findings()),
		p.place(task, e.Cylinder, e.Side),
		p.swap(task, e),
		amounts(e),
	)
}

func (p *Pump) taskNames() string {
	if len(p.Tasks) == 0 {
		return "none"
	}
	names := make([]string, len(p.Tasks))
	for i, t := range p.Tasks {
		names[i] = t.Name
	}
	return strings.Join(names, ", ")
}

func (p *Pump) place(task *Task, cylinder int, side string) error {
	position := pump.Position{Cylinder: cylinder}
	if err := position.Side.UnmarshalText([]byte(side)); err != nil {
		return err
	}
	switch {
	case cylinder < 0 || p.Cylinders > 0 && cylinder > p.Cylinders:
		return fmt.Errorf("there is no cylinder %d; this pump has cylinders 1 to %d", cylinder, p.Cylinders)
	case task != nil && len(task.at(position)) == 0:
		return fmt.Errorf("%s has no place %v", task.Name, position)
	}
	return nil
}

func (p *Pump) swap(task *Task, e *drivers.ServiceEntry) error {
	switch {
	case (e.Action == Swapped) != (e.Swapped != nil):
		return errors.New("a swap needs the other place, and nothing else does")
	case e.Swapped == nil:
		return nil
	case task == nil || len(task.Positions) == 0:
		return errors.New("only parts whose places are counted apart can be swapped")
	case len(task.at(positionAt(e.Cylinder, e.Side))) != 1:
		return errors.New("say which place was swapped: cylinder, and side for a valve")
	}
	if err := p.place(task, e.Swapped.Cylinder, e.Swapped.Side); err != nil {
		return err
	}
	if len(task.at(positionAt(e.Swapped.Cylinder, e.Swapped.Side))) != 1 {
		return errors.New("say which place it was swapped with: cylinder, and side for a valve")
	}
	return nil
}

// Bounds of what a record may say.
const (
	mostLitres = 10_000
	mostHours  = 200 * 365 * 24
	longest    = 2000 // characters of a text
	mostParts  = 100  // and readings
)

func amounts(e *drivers.ServiceEntry) error {
	for _, one := range []struct {
		what     string
		x, limit float64
	}{
		{"oil topped up", e.Added, mostLitres},
		{"oil changed", e.Filled, mostLitres},
		{"labour", e.Labour, mostHours},
		{"downtime", e.Downtime, mostHours},
		{"hours on the panel", value(e.PanelHours), mostHours},
		{"run hours", value(e.RunHours), mostHours},
		{"strokes per plunger", value(e.Strokes), 1e13},
	} {
		if !(one.x >= 0 && one.x <= one.limit) {
			return fmt.Errorf("%s: %s is not between 0 and %s", one.what, plain(one.x), plain(one.limit))
		}
	}
	if len(e.Parts) > mostParts || len(e.Before) > mostParts || len(e.After) > mostParts {
		return fmt.Errorf("more than %d parts or readings", mostParts)
	}
	if len(e.Note) > longest || len(e.Order) > longest {
		return fmt.Errorf("a note has at most %d characters", longest)
	}
	for _, list := range [][]drivers.ServiceReading{e.Before, e.After} {
		for _, r := range list {
			if math.IsNaN(r.Value) || math.IsInf(r.Value, 0) {
				return fmt.Errorf("reading %q is not a number", r.Name)
			}
		}
	}
	return nil
}

// plain writes a number without an exponent.
func plain(x float64) string { return strconv.FormatFloat(x, 'f', -1, 64) }

func value(x *float64) float64 {
	if x == nil {
		return 0
	}
	return *x
}

// when finds the moment of the work and the pump's totals then.
func (p *Pump) when(r *drivers.ServiceRecord, task *Task) error {
	now, e := r.Entered, &r.Entry
	if e.At.IsZero() {
		if e.RunHours != nil {
			return errHoursNeedTime
		}
		p.set(r, task, p.Totals, FromCounters)
		return nil
	}
	if !now.Synchronized {
		return errors.New("the agent's clock is not set, so it cannot tell when that was: record it without a time, or " + ClockCure)
	}
	if err := possible(e.At, now.Wall); err != nil {
		return err
	}
	r.At = drivers.Instant{Wall: e.At.UTC(), Synchronized: true}
	then, seen := p.Duty.At(e.At, now, &p.Totals)
	switch {
	case !e.At.Before(now.Wall): // within futureSpan
		r.At = now
		p.set(r, task, p.Totals, FromCounters)
	case seen:
		p.set(r, task, then, FromHistory)
	case e.RunHours != nil:
		told := Totals{RunTime: time.Duration(*e.RunHours * float64(time.Hour)), Strokes: value(e.Strokes)}
		if e.Strokes == nil && p.Totals.RunTime > 0 {
			told.Strokes = p.Totals.Strokes * float64(told.RunTime) / float64(p.Totals.RunTime)
			r.Estimated = EstimatedStrokes
		}
		p.set(r, task, told, FromTold)
	default:
		return fmt.Errorf("the agent did not see this pump on %s; say its run hours then (--run-hours)", e.At.UTC().Format(time.DateOnly))
	}
	return nil
}

// set writes the totals at the time of the work. The task's own meters have no
// history: for an earlier moment they are taken in proportion, and the record
// says so.
func (p *Pump) set(r *drivers.ServiceRecord, task *Task, then Totals, counted string) {
	r.RunTime, r.Strokes, r.Counted = min(then.RunTime, p.Totals.RunTime), min(then.Strokes, p.Totals.Strokes), counted
	if counted != FromTold {
		r.Opening = &p.Opening
	}
	if task == nil {
		return
	}
	wear := &p.States[slices.IndexFunc(p.States, func(s TaskState) bool { return s.Task == task.Name })].Wear
	before, after := p.around(task, wear, r.RunTime)
	run := share(float64(r.RunTime-before.RunTime), float64(after.RunTime-before.RunTime))
	strokes := share(r.Strokes-before.Strokes, after.Strokes-before.Strokes)
	read := wear.read(task, Totals{
		WarmTime: before.WarmTime + time.Duration(run*float64(after.WarmTime-before.WarmTime)).Round(time.Millisecond),
		Worn:     before.Worn + strokes*(after.Worn-before.Worn),
		Share:    before.Share + run*(after.Share-before.Share),
	})
	r.WarmTime, r.Worn, r.Share = read.WarmTime, read.Worn, read.Share
	if task.Weighted() && counted != FromCounters {
		r.Estimated = strings.TrimPrefix(r.Estimated+"; "+EstimatedWeights, "; ")
	}
}

// What a record says was estimated.
const (
	EstimatedWeights = "use weighted by temperature, pressure or speed: in proportion to the plain hours and strokes around that time"
	EstimatedStrokes = "strokes: in proportion to the run hours"
)

// around gives what a task's meters are known to have been before and after a
// moment of run time: at its other records, where they began, at the first hour
// and now.
func (p *Pump) around(task *Task, wear *Wear, at time.Duration) (before, after Totals) {
	before, after = wear.then(task, Totals{}), wear.Totals(task, p.Totals)
	if from := wear.From; from != nil && from.RunTime <= at {
		before = wear.then(task, *from)
	}
	for _, r := range InForce(p.Ledger) {
		switch {
		case r.Entry.Task != task.Name || r.RunTime < before.RunTime:
		case r.RunTime <= at:
			before = wear.then(task, totalsOf(r))
		default:
			return before, wear.then(task, totalsOf(r))
		}
	}
	return before, after
}

func share(a, of float64) float64 {
	if of <= 0 {
		return 0
	}
	return a / of
}

// dispute notes where the hours that people read do not fit: they are kept
// beside the agent's own, for refusing them teaches people to invent numbers.
func (p *Pump) dispute(r *drivers.ServiceRecord) {
	if told := r.Entry.RunHours; told != nil && *told > p.Totals.RunTime.Hours() {
		r.Disputed = fmt.Sprintf("%.0f run hours told, but only %.0f counted to this day", *told, p.Totals.RunTime.Hours())
	}
	if r.Entry.PanelHours == nil {
		return
	}
	read := *r.Entry.PanelHours
	for _, o := range InForce(p.Ledger) {
		if o.Entry.PanelHours == nil {
			continue
		}
		switch other := *o.Entry.PanelHours; {
		case earlier(o, r) && other > read:
			r.Disputed = fmt.Sprintf("the panel showed %.0f h, but %.0f h before that on %s", read, other, o.At.Wall.Format(time.DateOnly))
		case earlier(r, o) && other < read:
			r.Disputed = fmt.Sprintf("the panel showed %.0f h, but %.0f h after that on %s", read, other, o.At.Wall.Format(time.DateOnly))
		}
	}
}

// earlier is whether the work of a was done before that of b.
func earlier(a, b *drivers.ServiceRecord) bool {
	if a.RunTime != b.RunTime {
		return a.RunTime < b.RunTime
	}
	return a.At.Synchronized && b.At.Synchronized && a.At.Wall.Before(b.At.Wall)
}

// encode adds the codes of ISO 14224 and what the diagnosis believed.
func (p *Pump) encode(r *drivers.ServiceRecord, task *Task) {
	if task == nil {
		return
	}
	r.Mode, r.Mechanism = Coded(componentOf(task, &r.Entry), Found(r.Entry.Found))
	for _, f := range p.Believed {
		if task.Takes(f.Component) && (r.Believed == nil || float64(f.Probability) > r.Believed.Probability) {
			r.Believed = &drivers.ServiceBelief{
				Component: string(f.Component), Cylinder: f.Position.Cylinder, Side: f.Position.Side.String(), Probability: float64(f.Probability),
			}
		}
	}
}

// componentOf is the part that a record is about, as far as it says.
func componentOf(task *Task, e *drivers.ServiceEntry) pump.Component {
	switch {
	case task.Kind == Valves && e.Side == pump.Discharge.String():
		return pump.DischargeValve
	case len(task.Kind.Components()) > 0:
		return task.Kind.Components()[0]
	}
	return ""
}

func stamp(t time.Time) string { return t.UTC().Format("2006-01-02 15:04Z") }
