package rules

import (
	"time"

	"pumpside/rules/alarm"
)

// A joint is where an alarm stands that may leave its call to another.
type joint struct {
	def   int
	point string
	after time.Duration // judged for so long it may be spoken of
}

// findJoints finds the alarms of which the group must know: that the pump runs
// without flow, and limits on what other pumps read too.
func (set *Settings) findJoints() {
	set.joints = nil
	for i := range set.defs {
		d := &set.defs[i]
		switch {
		case d.Name == "no_flow" && set.Standing.InGroup:
			set.joints = append(set.joints, joint{i, "", min(d.OnDelay, time.Minute)}) // it had flow, and has none
		case d.Name == "failed_to_prime" && set.Standing.InGroup:
			set.joints = append(set.joints, joint{i, "", d.OnDelay}) // a start may take so long
		case d.Rule.By == alarm.ByValue || d.Rule.By == alarm.ByRate || d.Rule.By == alarm.ByState:
			if place, ok := set.place(d.Signal); ok && set.Signals[place].Point != "" {
				set.joints = append(set.joints, joint{i, set.Signals[place].Point, d.OnDelay})
			}
		}
	}
}

// Joints lists those of them that stand or are judged to, now. It allocates
// only when there are some.
func (s *State) Joints(set *Settings) (list []alarm.Joint) {
	for _, j := range set.joints {
		if one, ok := s.Alarms.Alarms[j.def].Joint(&set.defs[j.def], j.point, j.after, &s.Alarms.Flood); ok {
			list = append(list, one)
		}
	}
	return list
}

// carry notes at the conditions of the alarms who calls for them.
func (s *State) carry(set *Settings) {
	for _, c := range s.told().Carried {
		for _, j := range set.joints {
			if set.defs[j.def].Name == c.Alarm {
				s.conditions[j.def].CarriedBy, s.conditions[j.def].Answered = c.By, c.Answered
			}
		}
	}
}
