package site

import (
	"slices"
	"strconv"
	"strings"
	"time"

	"pumpside/drivers"
	"pumpside/rules/alarm"
)

// findLost finds the alarm of each group that speaks for pumps which run
// without flow.
func (set *Settings) findLost() {
	var groups []string
	for _, g := range set.Groups {
		groups = append(groups, g.ID)
	}
	set.lost, set.sites = set.placesOf("circulation_lost", groups), nil
	for _, name := range ofTheSite {
		ids := groups
		if strings.HasPrefix(name, "pump_") {
			ids = set.Alone
		}
		set.sites = append(set.sites, together{ids, set.placesOf(name, ids)})
	}
}

// ofTheSite are the alarms of groups, and of pumps in no group, that mostly come
// to all of a site at once, from one cause.
var ofTheSite = []string{"group_power_lost", "circulation_unseen", "pump_unseen", "pump_power_lost"}

// together is such an alarm of each group or pump, by its place among the
// definitions; -1 where it is not judged.
type together struct {
	ids    []string
	places []int
}

func (set *Settings) placesOf(name string, ids []string) []int {
	places := make([]int, len(ids))
	for i, id := range ids {
		own := alarm.About(name, id).Name
		places[i] = slices.IndexFunc(set.defs, func(d alarm.Definition) bool { return d.Name == own })
	}
	return places
}

// fresh is how long after a call what comes to others may be left to it.
const fresh = 2 * time.Minute

// oneCall lets the first to which such an alarm comes call for those to which it
// comes with it.
func (s *State) oneCall(set *Settings) {
	for _, one := range set.sites {
		for i, k := range one.places {
			if k < 0 || s.conditions[k].Holds != alarm.Yes {
				continue
			}
			for _, first := range one.places[:i] {
				if first >= 0 && s.conditions[first].Holds == alarm.Yes && s.conditions[first].CarriedBy == "" && s.leads(set, first, k) {
					s.conditions[k].CarriedBy = set.defs[first].Name
					s.conditions[k].Answered = s.Alarms.Alarms[first].State == alarm.Acknowledged
					break
				}
			}
		}
	}
}

// leads reports whether the call of the first alarm speaks for the other.
func (s *State) leads(set *Settings, first, other int) bool {
	d, m := &set.defs[first], &s.Alarms.Alarms[first]
	own, ok := m.Joint(d, "", d.OnDelay, &s.Alarms.Flood)
	called, known := s.moment.At.Since(m.RaisedAt)
	switch {
	case !ok || !own.Calls:
		return false
	case s.Alarms.Alarms[other].Carry.By == d.Name:
		return true
	case !m.State.Active():
		return own.Soon
	}
	return m.State == alarm.Unacknowledged && known && called < fresh
}

// with names the others to which the same has come.
func (s *State) with(set *Settings, e *alarm.Event) (others []string) {
	for _, one := range set.sites {
		if !slices.ContainsFunc(one.places, func(k int) bool { return k >= 0 && set.defs[k].Name == e.Alarm }) {
			continue
		}
		for i, k := range one.places {
			if k >= 0 && s.conditions[k].Holds == alarm.Yes && set.defs[k].Name != e.Alarm {
				others = append(others, one.ids[i])
			}
		}
	}
	return others
}

// listed joins names, and counts them from the fourth on.
func listed(names []string) string {
	const most = 3
	if len(names) > most {
		names = []string{names[0], strconv.Itoa(len(names)-1) + " others"}
	}
	return strings.Join(names, " and ")
}

// carry decides which alarms of the pumps leave their call to another: one call
// tells what is wrong with one circulation, or with one value.
func (s *State) carry(set *Settings, news bool) {
	for i := range set.Groups {
		if news {
			s.speak(set, i)
		}
		for k := range s.joints[i] {
			var list []drivers.Carried
			for _, j := range s.joints[i][k] {
				c := drivers.Carried{Alarm: j.Alarm}
				if j.Point == "" {
					c.By, c.Answered = s.carrier(set, i, k, &j)
				} else {
					c.By = s.leader(set, i, k, &j)
				}
				if c.By != "" {
					list = append(list, c)
				}
			}
			s.carried[i][k] = list
		}
	}
}

// speak notes of which pumps the call about group i's circulation speaks, and
// forgets those that run without flow no more.
func (s *State) speak(set *Settings, i int) {
	m, pumps := &s.Groups[i], set.Groups[i].Pumps
	calls := s.calls(set, i)
	for k, pump := range pumps {
		dry := s.dry(i, k)
		switch {
		case calls && dry != nil && dry.Soon:
			if m.Spoken == nil {
				m.Spoken = map[string]string{}
			}
			m.Spoken[pump] = dry.Alarm
		case dry == nil || !s.stands(set, i):
			delete(m.Spoken, pump)
		}
	}
}

// calls reports whether people were called about group i's circulation in this
// step.
func (s *State) calls(set *Settings, i int) bool {
	return set.lost[i] >= 0 && slices.ContainsFunc(s.happened, func(e alarm.Event) bool {
		return e.Alarm == set.defs[set.lost[i]].Name && e.Notify == alarm.Now
	})
}

// stands reports whether the alarm about group i's circulation does.
func (s *State) stands(set *Settings, i int) bool {
	return set.lost[i] >= 0 && s.Alarms.Alarms[set.lost[i]].State.Active()
}

// dry is the alarm of a pump that runs without flow; nil when it does not.
func (s *State) dry(i, k int) *alarm.Joint {
	for j := range s.joints[i][k] {
		if one := &s.joints[i][k][j]; one.Point == "" {
			return one
		}
	}
	return nil
}

// carrier is the alarm of group i that calls for a pump which runs without
// flow, "" for none: its call has spoken of that pump, or will within seconds.
func (s *State) carrier(set *Settings, i, k int, j *alarm.Joint) (by string, answered bool) {
	if set.lost[i] < 0 {
		return "", false
	}
	d, m := &set.defs[set.lost[i]], &s.Alarms.Alarms[set.lost[i]]
	own, ok := m.Joint(d, "", d.OnDelay, &s.Alarms.Flood)
	switch {
	case !ok || !own.SpeaksFor(j):
		return "", false
	case m.State.Active() && s.Groups[i].Spoken[set.Groups[i].Pumps[k]] == j.Alarm:
		return d.Name, m.State == alarm.Acknowledged
	case !m.State.Active() && s.conditions[set.lost[i]].Holds == alarm.Yes:
		return d.Name, false
	}
	return "", false
}

// urged reports whether a pump that runs without flow waits for the call about
// group i's circulation, and the least time to respond of those it speaks for.
func (s *State) urged(i int) (atOnce bool, respond time.Duration) {
	for k := range s.joints[i] {
		if dry := s.dry(i, k); dry != nil && dry.Soon {
			atOnce = atOnce || dry.Waits
			if respond == 0 || dry.Respond < respond {
				respond = dry.Respond
			}
		}
	}
	return atOnce, respond
}

// leader is the alarm of an earlier pump on the same value that goes as far and
// has called or is about to, "" for none.
func (s *State) leader(set *Settings, i, k int, j *alarm.Joint) string {
	for l := range k {
		for _, other := range s.joints[i][l] {
			if other.Point == j.Point && other.Alarm == j.Alarm && other.Soon && other.Level >= j.Level && other.Respond <= j.Respond && other.SpeaksFor(j) {
				return set.Groups[i].Pumps[l] + "/" + other.Alarm
			}
		}
	}
	return ""
}
