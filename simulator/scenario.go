package simulator

import (
	"fmt"
	"slices"
	"time"
)

// An Event is an Action at an instant.
type Event struct {
	At       time.Duration // since the skid's start
	Do       Action
	Cylinder int           // of a head's fault: 0, 1, 2
	Device   Device        // of a device's action
	Signal   string        // of an instrument's fault, such as "discharge_pressure"
	Size     float64       // see the Action; 0 of a fault takes it back
	Onset    time.Duration // a fault grows in a straight line over this time
}

// A Step is an Event of one skid of several.
type Step struct {
	Skid int
	Event
}

// A Scenario is what happens to a group of skids.
type Scenario []Step

// Apply schedules every step on its skid. A step for a skid or signal that is
// not there is an error, and nothing is scheduled.
func (s Scenario) Apply(skids []*Skid) error {
	for i, step := range s {
		if step.Skid < 0 || step.Skid >= len(skids) {
			return fmt.Errorf("step %d: skid %d of %d", i, step.Skid, len(skids))
		}
		if err := step.check(); err != nil {
			return fmt.Errorf("step %d: %w", i, err)
		}
	}
	for _, step := range s {
		if err := skids[step.Skid].Schedule(step.Event); err != nil {
			return err
		}
	}
	return nil
}

func (e Event) check() error {
	switch {
	case e.Do >= actionCount:
		return fmt.Errorf("unknown action %d", e.Do)
	case e.Cylinder < 0 || e.Cylinder >= Cylinders:
		return fmt.Errorf("%v: cylinder %d of %d", e.Do, e.Cylinder+1, Cylinders)
	case e.Do.ofInstrument() && signalNamed(e.Signal) == noSignal:
		return fmt.Errorf("%v: unknown signal %q", e.Do, e.Signal)
	case e.Device >= deviceCount:
		return fmt.Errorf("%v: unknown device %d", e.Do, e.Device)
	}
	return nil
}

// An agenda is the events still to come, earliest first.
type agenda []Event

func (a *agenda) add(e Event) {
	i, _ := slices.BinarySearchFunc(*a, e.At, func(have Event, at time.Duration) int {
		if have.At <= at {
			return -1 // an equal instant keeps the order of scheduling
		}
		return 1
	})
	*a = slices.Insert(*a, i, e)
}

// due takes the first event if its time has come.
func (a *agenda) due(now time.Duration) (Event, bool) {
	if len(*a) == 0 || (*a)[0].At > now {
		return Event{}, false
	}
	e := (*a)[0]
	*a = (*a)[1:]
	return e, true
}

// A severity is the size of one fault, growing in a straight line.
type severity struct {
	from, to float64
	start    time.Duration
	onset    time.Duration
}

func (s *severity) set(e Event, now time.Duration) {
	*s = severity{from: s.at(now), to: e.Size, start: now, onset: e.Onset}
}

func (s *severity) at(now time.Duration) float64 {
	if now >= s.start+s.onset {
		return s.to
	}
	return s.from + (s.to-s.from)*float64(now-s.start)/float64(s.onset)
}
