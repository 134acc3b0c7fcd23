// Package service tells how much of the life between two services is used.
//
// A [Task] has one or more intervals: run time, strokes per plunger, calendar
// time; the one that is used most decides. A [Done] is the moment a task was
// last recorded, with the pump's totals at that moment. Life used is a pure
// function of the two and the totals now.
//
// Strokes are strokes per plunger, which is pump revolutions: makers state
// valve and diaphragm intervals that way.
package service

import (
	"time"

	"pumpside/drivers"
)

// A Task is one kind of service of one pump, as configured.
type Task struct {
	Name string // such as "oil"; unique within the pump

	// Intervals; zero means that measure does not count.
	RunTime  time.Duration // run time of the pump
	Strokes  float64       // strokes per plunger
	Calendar time.Duration // time on the wall

	// FirstRunTime, when not zero, replaces RunTime until the task was first
	// recorded: the run-in change of a new pump's oil (500 h is common
	// practice, no source).
	FirstRunTime time.Duration

	// DueSoon and Overdue are shares of the life used at which the advisories
	// begin; due itself is 1.
	DueSoon, Overdue float64

	Parts string // what to bring, in the site's words
}

// The shares a task has when its configuration says nothing (common practice,
// no source).
const (
	DefaultDueSoon = 0.9
	DefaultOverdue = 1.1
)

// Totals are the pump's counters a task is measured in.
type Totals struct {
	RunTime time.Duration
	Strokes float64 // per plunger
}

// A Done is when a task was last recorded. The zero Done means never: life
// counts from the pump's first hour and, for the calendar, from Since.
type Done struct {
	Count  int             `json:"count"` // how many times it was recorded
	Totals Totals          `json:"totals"`
	At     drivers.Instant `json:"at,omitzero"`
	By     string          `json:"by,omitempty"`
	// Since is where calendar time begins: when the task was recorded, or
	// when the agent first saw the pump; moved to the first synchronised
	// moment when the clock was wrong then.
	Since drivers.Instant `json:"since,omitzero"`
}

// A Measure is what decides a task's life.
type Measure string

// The measures.
const (
	ByRunTime  Measure = "run_time"
	ByStrokes  Measure = "strokes_per_plunger"
	ByCalendar Measure = "calendar"
)

// A Life is how much of a task's interval is used.
type Life struct {
	Used  float64 // 1 is due; 0 just done
	By    Measure // the measure used most; "" for a task without intervals
	Spent float64 // in seconds for times, strokes for strokes
	Limit float64 // the interval in the same unit
	// CalendarKnown is false when calendar time cannot be told: the clock is
	// or was not synchronised. A task with other measures goes on by those.
	CalendarKnown bool
}

// Used measures the life of t at the moment now.
func (t Task) Used(done Done, totals Totals, now drivers.Instant) Life {
	life := Life{CalendarKnown: true}
	limit := t.RunTime
	if done.Count == 0 && t.FirstRunTime > 0 {
		limit = t.FirstRunTime
	}
	life.consider(ByRunTime, (totals.RunTime - done.Totals.RunTime).Seconds(), limit.Seconds())
	life.consider(ByStrokes, totals.Strokes-done.Totals.Strokes, t.Strokes)
	if t.Calendar > 0 {
		spent, known := calendarSince(done.Since, now)
		life.CalendarKnown = known
		if known {
			life.consider(ByCalendar, spent.Seconds(), t.Calendar.Seconds())
		}
	}
	return life
}

// consider takes spent of limit into account when it is used more than what
// was considered before.
func (l *Life) consider(by Measure, spent, limit float64) {
	if limit <= 0 {
		return
	}
	if used := spent / limit; l.By == "" || used > l.Used {
		l.Used, l.By, l.Spent, l.Limit = used, by, spent, limit
	}
}

// calendarSince is the time between two wall clocks, known only when both were
// synchronised: a service interval in months must not be judged by a clock
// that began in 1970.
func calendarSince(since, now drivers.Instant) (time.Duration, bool) {
	if !since.Synchronized || !now.Synchronized {
		return 0, false
	}
	return max(now.Wall.Sub(since.Wall), 0), true
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
func (t Task) Status(l Life) Status {
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

// Record gives the Done of a task recorded now by user.
func (d Done) Record(totals Totals, now drivers.Instant, user string) Done {
	return Done{Count: d.Count + 1, Totals: totals, At: now, By: user, Since: now}
}

// Begin gives d with its calendar begun at now if it had none, or if it was
// begun by a clock that was not synchronised and now's is.
func (d Done) Begin(now drivers.Instant) Done {
	if d.Since.IsZero() || (!d.Since.Synchronized && now.Synchronized) {
		d.Since = now
	}
	return d
}
