package service

import (
	"cmp"
	"slices"
	"time"

	"pumpside/rules/pump"
)

// A Task is one kind of service of one pump, as configured.
type Task struct {
	Name string // such as "oil"; unique within the pump
	Kind Kind

	// Positions are the places whose lives are kept apart: check valves, or
	// cylinders with no side. None is one life for the whole pump.
	Positions []pump.Position

	// Intervals; zero means that measure does not count.
	RunTime  time.Duration // run time of the pump
	Strokes  float64       // strokes per plunger
	Calendar time.Duration // time on the wall
	Table    Table         // by how the pump runs

	Warm     Warm     // weights RunTime by the oil's temperature
	Pressure Pressure // weights Strokes by discharge pressure

	// FirstRunTime, when not zero, replaces RunTime until the task was first
	// recorded, and again after the hydraulic end was repaired: the run-in
	// change of oil (500 h is common practice, no source).
	FirstRunTime time.Duration

	// DueSoon and Overdue are shares of the life used at which the advisories
	// begin; due itself is 1.
	DueSoon, Overdue float64

	// Waste is the share of the life that may be thrown away on a visit made for
	// something else; 0 takes DefaultWaste.
	Waste float64
	// Aged is that the pump was not new when the agent first saw it: only a
	// repair lets its oil run in.
	Aged bool

	Parts   string  // what to bring, in the site's words
	Minutes float64 // of work; 0 takes that of the kind
	Oil     float64 // litres of a filling; 0: none or not known
}

// The shares a task has when its configuration says nothing (common practice,
// no source).
const (
	DefaultDueSoon = 0.9
	DefaultOverdue = 1.1
)

// places is how many lives the task has.
func (t *Task) places() int { return max(len(t.Positions), 1) }

// Position is the place with index i; the zero one is the whole pump.
func (t *Task) Position(i int) pump.Position {
	if i < len(t.Positions) {
		return t.Positions[i]
	}
	return pump.Position{}
}

// at lists the places that a record of that cylinder (0: all) and side (0:
// both) is about.
func (t *Task) at(p pump.Position) []int {
	var list []int
	for i := range t.places() {
		has := t.Position(i)
		if fits(p.Cylinder, has.Cylinder) && fits(p.Side, has.Side) {
			list = append(list, i)
		}
	}
	return list
}

// fits is whether a and b may be the same, 0 standing for any.
func fits[T comparable](a, b T) bool {
	var any T
	return a == any || b == any || a == b
}

// Takes reports whether a finding about c asks for this task.
func (t *Task) Takes(c pump.Component) bool { return slices.Contains(t.Kind.Components(), c) }

func (t *Task) waste() float64 { return cmp.Or(t.Waste, DefaultWaste) }

// RunsIn reports whether the first interval counts after what was done.
func (t *Task) RunsIn(done *Done) bool {
	return t.FirstRunTime > 0 && (done.Count == 0 && !t.Aged || done.RunIn)
}

// TakesMinutes is how long the work takes.
func (t *Task) TakesMinutes() float64 {
	if t.Minutes > 0 {
		return t.Minutes
	}
	return t.Kind.Minutes()
}
