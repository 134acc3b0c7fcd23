package service

import (
	"math"
	"slices"
	"time"

	"pumpside/drivers"
)

// A Forecast is when a share of a life will be used up. Early, Median and Late
// are the dates that come with a chance of 10, 50 and 90 %; a zero one lies
// beyond three years. Why is set when nobody can tell, and nothing else but
// perhaps Soonest: when it would be if the pump ran through. Soonest stands with
// dates too where one measure cannot be forecast.
type Forecast struct {
	Early   time.Time `json:"due_10,omitzero"`
	Median  time.Time `json:"due_50,omitzero"`
	Late    time.Time `json:"due_90,omitzero"`
	By      Measure   `json:"by,omitempty"` // what brings the median
	Why     string    `json:"why,omitempty"`
	Soonest time.Time `json:"soonest,omitzero"`
	// AtLatest is set where another measure of the task cannot be forecast: it
	// may be used up before these dates.
	AtLatest bool `json:"at_the_latest,omitempty"`
}

// Reasons why there is no forecast.
const (
	NoHistory  = "not enough history"
	Standing   = "has not run for four weeks"
	NoClock    = "the clock is not set"
	NoInterval = "no interval"
)

// ClockCure is what a person does about a clock that is not set.
const ClockCure = "set the gateway's clock, or write site.clock: trusted where it is known to be right"

// Foresight is how far ahead a forecast reaches.
const Foresight = farthest * 24 * time.Hour

// An Outlook is what the duty of one pump says of the days ahead. It is worked
// out once for all tasks.
type Outlook struct {
	now     drivers.Instant
	why     string // there is no pace
	run     *pace  // of seconds; nil without enough history
	strokes *pace
}

// NewOutlook looks ahead from now.
func NewOutlook(d *Duty, now drivers.Instant) *Outlook {
	o := &Outlook{now: now, why: NoHistory}
	if len(d.Days) >= fewestDays {
		o.why = Standing
	}
	run, strokes := make([]float64, len(d.Days)), make([]float64, len(d.Days))
	for i, day := range d.Days {
		run[i], strokes[i] = day.Run.Seconds(), day.Strokes
	}
	if now.Synchronized {
		o.run, o.strokes = newPace(run, d.Today), newPace(strokes, d.Today)
	}
	return o
}

// From gives the outlook from a little later on, on the same days.
func (o *Outlook) From(now drivers.Instant) *Outlook {
	later := *o
	later.now = now
	return &later
}

// DefaultWaste is the share of a life that may be left when a part is changed
// on a visit made for something else (common practice, no source).
const DefaultWaste = 0.25

// A Window is when a task can be done: from Ripe on no more of the life is
// thrown away than the task allows, after Last it is overdue, both by the median. Ripe
// is zero when it lies too far off.
type Window struct {
	Ripe time.Time `json:"ripe,omitzero"`
	Due  Forecast  `json:"due"`
	Last time.Time `json:"last,omitzero"`
}

// A Course is where the trend of what is measured leads: how much longer the
// pump can run until a visit does not wait, at the soonest, likely and at the
// latest. The zero Course is none.
type Course struct {
	Known               bool
	Early, Median, Late time.Duration // run time from now on
}

// Window forecasts the window of one place. What the diagnosis asks for is ripe
// at once, and due where its course leads, or at once without one; a course
// nobody asked about yet is one more measure of the life.
func (o *Outlook) Window(t *Task, done *Done, totals *Totals, life Life, course Course) Window {
	now := o.now.Wall
	if life.By == ByCondition {
		w := Window{Ripe: now, Due: Forecast{Early: now, Median: now, Late: now, By: ByCondition}, Last: now.Add(conditionSpan)}
		if course.Known && o.now.Synchronized {
			w.Due = o.along(course)
			w.Last = later(w.Due.Median, w.Last)
		}
		return w
	}
	w := Window{
		Ripe: o.Reach(t, done, totals, 1-t.waste()).Median,
		Due:  o.Reach(t, done, totals, 1),
		Last: o.Reach(t, done, totals, t.Overdue).Median,
	}
	if course.Known && o.now.Synchronized {
		w.Due.sooner(o.along(course))
		if w.Due.By == ByCondition { // a worn part is not thrown away early
			w.Ripe = now
		}
	}
	return w
}

// along turns run time into dates, by the pump's own pace or, without one, as
// if it ran through. No date lies further than a straight line is believed.
func (o *Outlook) along(c Course) Forecast {
	furthest := o.now.Wall.Add(courseSpan)
	date := func(reached func(*pace) []float64, run time.Duration) time.Time {
		at := o.now.Wall.Add(run)
		if o.run != nil {
			at = o.when(reached(o.run), run.Seconds())
		}
		return first(at, furthest)
	}
	return Forecast{
		Early:  date(func(p *pace) []float64 { return p.early }, c.Early),
		Median: date(func(p *pace) []float64 { return p.reached }, c.Median),
		Late:   date(func(p *pace) []float64 { return p.late }, c.Late),
		By:     ByCondition,
	}
}

// courseSpan is how far a trend is believed: what wears out its seat grows
// faster than a straight line (common practice, no source).
const courseSpan = 90 * 24 * time.Hour

// conditionSpan is how long a visit that the diagnosis advises may wait: what
// leaks washes out its seat (common practice, no source).
const conditionSpan = 14 * 24 * time.Hour

// Reach forecasts when a share of the life of t will be used up: 1 is when it
// falls due. The calendar gives its date only when nothing that is used more goes
// without a forecast: it must not calm anyone about hours that are nearly up.
func (o *Outlook) Reach(t *Task, done *Done, totals *Totals, share float64) Forecast {
	if !o.now.Synchronized {
		return Forecast{Why: NoClock}
	}
	f := Forecast{Why: NoInterval}
	blind, unseen := 0.0, false // share used of what nobody can forecast
	var soonest time.Time
	for _, u := range t.uses(done, totals) {
		if u.limit <= 0 {
			continue
		}
		one := o.measure(u, done, totals, share*u.limit-u.spent)
		if unseen = unseen || one.Why != ""; one.Why == NoHistory {
			blind = max(blind, u.spent/u.limit)
		}
		soonest = first(soonest, one.Soonest)
		f.sooner(one)
	}
	if t.Calendar > 0 && !done.Since.IsZero() {
		passed, known := o.now.Since(done.Since)
		if used := float64(passed) / float64(t.Calendar); known && (used >= blind || used >= share) {
			at := o.now.Wall.Add(time.Duration(share*float64(t.Calendar)) - passed)
			at = later(at, o.now.Wall)
			f.sooner(Forecast{Early: at, Median: at, Late: at, By: ByCalendar})
		}
	}
	switch {
	case !unseen:
	case f.Why != "":
		f.Soonest = soonest
	case soonest.IsZero() || soonest.Before(f.Early): // else the dates stand, however much it runs
		f.AtLatest, f.Soonest = true, soonest
	}
	return f
}

// sooner keeps the sooner of two forecasts: whichever measure is used up first
// decides. One that cannot be told gives way.
func (f *Forecast) sooner(o Forecast) {
	switch {
	case o.Why != "" && f.Why != NoInterval:
		return
	case f.Why != "":
		*f = o
		return
	}
	if before(o.Median, f.Median) {
		f.Median, f.By = o.Median, o.By
	}
	f.Early, f.Late = first(f.Early, o.Early), first(f.Late, o.Late)
}

// before is whether a comes before b, the zero time being beyond all others.
func before(a, b time.Time) bool { return !a.IsZero() && (b.IsZero() || a.Before(b)) }

func first(a, b time.Time) time.Time {
	if before(b, a) {
		return b
	}
	return a
}

func later(a, b time.Time) time.Time {
	if a.Before(b) {
		return b
	}
	return a
}

// measure forecasts when so much more of one measure will be used.
func (o *Outlook) measure(u use, done *Done, totals *Totals, left float64) Forecast {
	if left <= 0 {
		return Forecast{Early: o.now.Wall, Median: o.now.Wall, Late: o.now.Wall, By: u.by}
	}
	p, each := o.run, 1.0
	switch u.by {
	case ByStrokes:
		p = o.strokes
	case ByWorn:
		p, each = o.strokes, rate(totals.Worn-done.Totals.Worn, totals.Strokes-done.Totals.Strokes, totals.Worn, totals.Strokes)
	case ByWarmTime:
		each = rate(u.spent, (totals.RunTime - done.Totals.RunTime).Seconds(), totals.WarmTime.Seconds(), totals.RunTime.Seconds())
	case ByTable:
		each = rate(u.spent, (totals.RunTime - done.Totals.RunTime).Seconds(), totals.Share, totals.RunTime.Seconds())
	}
	switch {
	case p == nil:
		return Forecast{Why: o.why, Soonest: o.soonest(u, totals, left/each)}
	case !(each > 0):
		return Forecast{Why: NoHistory}
	}
	return Forecast{Early: o.when(p.early, left/each), Median: o.when(p.reached, left/each), Late: o.when(p.late, left/each), By: u.by}
}

// soonest is when so much more would be used if the pump ran through; the zero
// time where nobody can tell. Strokes go as they have gone by the hour so far.
func (o *Outlook) soonest(u use, totals *Totals, left float64) time.Time {
	if o.why != NoHistory {
		return time.Time{}
	}
	if u.by == ByStrokes || u.by == ByWorn {
		left /= totals.Strokes / totals.RunTime.Seconds()
	}
	if !(left >= 0 && left < 10*365*secondsOfDay) {
		return time.Time{}
	}
	return o.now.Wall.Add(time.Duration(left * float64(time.Second))).Truncate(time.Minute)
}

// rate is how much of a weighted measure goes with one of its unweighted one:
// in this life, or, when that has hardly begun, ever.
func rate(spent, plain, ever, everPlain float64) float64 {
	if plain > 0.05*everPlain || everPlain <= 0 {
		return spent / plain
	}
	return ever / everPlain
}

// when is the moment at which so much more will be used; the zero time beyond
// the days looked at. reached rises.
func (o *Outlook) when(reached []float64, left float64) time.Time {
	i, _ := slices.BinarySearch(reached, left)
	if i == len(reached) {
		return time.Time{}
	}
	from := 0.0
	if i > 0 {
		from = reached[i-1]
	}
	part := (left - from) / math.Max(reached[i]-from, 1e-300)
	return o.now.Wall.Add(time.Duration((float64(i) + part) * 24 * float64(time.Hour))).Truncate(time.Minute)
}
