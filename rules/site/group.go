package site

import (
	"errors"
	"fmt"
	"slices"
	"time"

	"pumpside/drivers"
	"pumpside/drivers/quantity"
	"pumpside/rules/alarm"
)

// A Group is pumps that share one circulation. A single pump may be a group of
// its own: then its circulation is judged like any other.
type Group struct {
	ID       string
	Pumps    []string // ids; a pump is in one group at most
	Required int      // how many must deliver while glycol is wanted; 0 takes 1

	// NoFlow is where a meter that the pumps share begins to show flow; 0 takes
	// 0.2 L/min.
	NoFlow quantity.CubicMetersPerSecond
	// Target is the circulation the gas needs; 0: not judged.
	Target quantity.CubicMetersPerSecond
	// Drying gives the circulation from the gas itself while that is measured;
	// Target then stands in for the time in which it is not.
	Drying Drying
	// Pause is how long glycol may rest while gas flows and nothing says that
	// it is wanted, as in batch control. 0 takes half an hour where the demands
	// are off, and none where no demand is known.
	Pause time.Duration
	// Exercise is how long a pump may stand without a run; 0 takes 30 days
	// (common practice, no source), a negative one is not judged.
	Exercise time.Duration
	// ChangeOver is how often duty is handed over; 0: it is not, and uneven
	// hours are as meant.
	ChangeOver time.Duration
}

// What a group takes where it says nothing.
const (
	defaultNoFlow   = 0.2e-3 / 60
	defaultPause    = 30 * time.Minute
	defaultExercise = 30 * 24 * time.Hour
)

// A Pump is how one pump of a group stands, as its own rules tell it.
type Pump struct {
	Running    alarm.Known
	Delivering alarm.Known // glycol moves, as far as this pump's own signals tell
	Available  alarm.Known // it runs, or would start when asked
	Asked      alarm.Known // its run demand; unknown without one
	GroupAsked alarm.Known // the demand of the group as a whole; unknown without one
	Backwards  alarm.Known // something flows back through it while it stands
	Faulted    bool        // it stands by a fault of its drive
	Unseen     bool        // nothing tells whether it runs or delivers, and nothing that it need not
	Power      alarm.Known
	Gas        alarm.Known
	GasMetered bool          // it has a meter of the gas, good or bad
	RunTime    time.Duration // since its first hour

	Flow       quantity.CubicMetersPerSecond // by its meter, only with FlowKnown
	FlowKnown  bool
	FlowShared bool // the meter shows what all of them deliver

	Stream Stream // the gas

	Joints []alarm.Joint // alarms of it that may leave their call to another
}

// checkGroups fills in what groups leave out, or says what is wrong with them.
func (set *Settings) checkGroups() error {
	var list []error
	groups := slices.Clone(set.Groups)
	in := map[string]string{}
	for i := range groups {
		g := &groups[i]
		g.Required = max(g.Required, 1)
		orElse(&g.NoFlow, defaultNoFlow)
		orElse(&g.Exercise, defaultExercise)
		switch {
		case len(g.Pumps) == 0:
			list = append(list, fmt.Errorf("group %q has no pump", g.ID))
		case g.Required > len(g.Pumps):
			list = append(list, fmt.Errorf("group %q needs %d pumps and has %d", g.ID, g.Required, len(g.Pumps)))
		}
		for _, p := range g.Pumps {
			if other, twice := in[p]; twice {
				list = append(list, fmt.Errorf("pump %q is in group %q and in group %q", p, other, g.ID))
			}
			in[p] = g.ID
		}
	}
	set.Groups = groups
	return errors.Join(list...)
}

func orElse[T comparable](field *T, value T) {
	var zero T
	if *field == zero {
		*field = value
	}
}

// GroupOf finds the group a pump is in, and its place there.
func (set *Settings) GroupOf(pump string) (group, place int, ok bool) {
	for i := range set.Groups {
		if place := slices.Index(set.Groups[i].Pumps, pump); place >= 0 {
			return i, place, true
		}
	}
	return 0, 0, false
}

// A groupMemory is what is remembered of a group.
type groupMemory struct {
	Group string        `json:"group"`
	Idle  []idle        `json:"idle"`           // of each pump
	Habit alarm.Habit   `json:"habit,omitzero"` // of the circulation as a whole
	Dark  bool          `json:"dark,omitzero"`  // the power of all pumps was lost
	Rests time.Duration `json:"rests,omitzero"` // so long has nobody delivered
	Share share         `json:"share,omitzero"`
	Needs needs         `json:"needs,omitzero"`
	// Spoken is, by pump, the alarm of it that the call about the lost
	// circulation has spoken of.
	Spoken map[string]string `json:"spoken,omitempty"`
}

// An idle is how long a pump has stood without a run worth the name.
type idle struct {
	Pump  string        `json:"pump"`
	Stood time.Duration `json:"stood"`
	Ran   time.Duration `json:"ran,omitzero"`  // of the run under way
	Duty  bool          `json:"duty,omitzero"` // it ran when glycol last moved
}

// A share is what part of the group's running each pump has had since a mark.
type share struct {
	Since   drivers.Instant `json:"since,omitzero"`
	Run     []time.Duration `json:"run,omitempty"`    // of each pump, at the mark
	Largest float64         `json:"largest,omitzero"` // of the last full time between two marks; 0 before
}

func (set *Settings) newMemory(i int) groupMemory {
	g := &set.Groups[i]
	m := groupMemory{Group: g.ID, Idle: make([]idle, len(g.Pumps))}
	for k, p := range g.Pumps {
		m.Idle[k].Pump = p
	}
	return m
}

// fitGroups brings what was saved of groups and pumps into the order of the
// settings.
func (s *State) fitGroups(set *Settings) {
	saved := s.Groups
	s.runs = make([][]alarm.Known, len(set.Groups))
	s.Groups, s.views = make([]groupMemory, len(set.Groups)), make([]GroupView, len(set.Groups))
	s.joints, s.carried = make([][][]alarm.Joint, len(set.Groups)), make([][][]drivers.Carried, len(set.Groups))
	for i, g := range set.Groups {
		m := set.newMemory(i)
		s.views[i] = GroupView{Group: g.ID, Required: g.Required, Pumps: len(g.Pumps), Standby: make([]drivers.Standby, len(g.Pumps))}
		s.runs[i] = make([]alarm.Known, len(g.Pumps))
		s.joints[i], s.carried[i] = make([][]alarm.Joint, len(g.Pumps)), make([][]drivers.Carried, len(g.Pumps))
		k := slices.IndexFunc(saved, func(m groupMemory) bool { return m.Group == g.ID })
		if k >= 0 {
			old := saved[k]
			m.Habit, m.Dark, m.Rests, m.Needs, m.Spoken = old.Habit, old.Dark, old.Rests, old.Needs, old.Spoken
			for j := range m.Idle {
				for _, one := range old.Idle {
					if one.Pump == m.Idle[j].Pump {
						m.Idle[j] = one
					}
				}
			}
			if len(old.Share.Run) == len(g.Pumps) {
				m.Share = old.Share
			}
		}
		s.Groups[i] = m
	}
}
