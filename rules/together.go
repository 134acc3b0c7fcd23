package rules

import (
	"pumpside/drivers"
	"pumpside/rules/alarm"
)

// hear notes what the pump is told of its group.
func (s *State) hear(b *drivers.Batch) {
	if b.Group.Told {
		s.group, s.groupAt = b.Group, b.At
	}
}

// told is what is known of the group now: the zero one when nothing was told,
// or not lately.
func (s *State) told() drivers.Group {
	if !s.group.Told || !s.groupAt.SameBoot(s.moment.At) || s.moment.At.SinceBoot-s.groupAt.SinceBoot > tellsFor {
		return drivers.Group{}
	}
	return s.group
}

// alone is whether what this pump shares with others is its own for now: no
// other pump of the group runs.
func (s *State) alone() bool { return s.told().Alone() }

// notOwn is whether a signal shows what other pumps do too, now.
func (s *State) notOwn(set *Settings, signal drivers.Signal) bool {
	i, ok := set.place(signal)
	return ok && set.Signals[i].Shared && !s.alone()
}

// sharing is the condition of operation under which flow and discharge
// pressure say nothing of this pump by itself.
func (s *State) sharing(set *Settings) alarm.Logic {
	if s.notOwn(set, drivers.DischargePressure) || s.notOwn(set, drivers.GlycolFlow) {
		return alarm.SharedSignal
	}
	return 0
}

// standby is how the others stand, for alerts; "" for a pump in no group.
func (s *State) standby() string { return string(s.told().Standby) }
