package site

import (
	"slices"
	"time"

	"pumpside/drivers"
	"pumpside/drivers/quantity"
	"pumpside/rules/alarm"
)

// exercised is a run that counts as one: a start that fails is none.
const exercised = 5 * time.Minute

// exercise counts how long each pump has stood.
func (m *groupMemory) exercise(pumps []Pump, elapsed time.Duration) {
	for k := range pumps {
		i := &m.Idle[k]
		switch pumps[k].Running {
		case alarm.Yes:
			if i.Ran += elapsed; i.Ran >= exercised {
				i.Stood = 0
			}
		case alarm.No:
			i.Ran = 0
			i.Stood += elapsed
		}
	}
}

// longest is the pump that has stood longest.
func (m *groupMemory) longest() (stood time.Duration) {
	for k := range m.Idle {
		stood = max(stood, m.Idle[k].Stood)
	}
	return stood
}

// Hours are uneven when one pump has had more than one and a half times its
// part over four change-overs, two weeks at least.
const (
	unevenTimes   = 1.5
	unevenPeriods = 4
	unevenLeast   = 14 * 24 * time.Hour
)

// share notes now and then what part of the running each pump has had.
func (m *groupMemory) share(g *Group, pumps []Pump, at drivers.Instant) {
	h := &m.Share
	since, known := at.Since(h.Since)
	switch {
	case g.ChangeOver <= 0:
		return
	case len(h.Run) == len(pumps) && known && since < max(unevenPeriods*g.ChangeOver, unevenLeast):
		return
	case len(h.Run) == len(pumps) && known:
		h.Largest = largest(h.Run, pumps)
	}
	h.Since, h.Run = at, h.Run[:0]
	for k := range pumps {
		h.Run = append(h.Run, pumps[k].RunTime)
	}
}

// largest is the largest part that one pump has of what all ran since; 0 when
// none did.
func largest(since []time.Duration, pumps []Pump) float64 {
	var sum, most time.Duration
	for k := range pumps {
		ran := max(pumps[k].RunTime-since[k], 0)
		sum, most = sum+ran, max(most, ran)
	}
	if sum == 0 {
		return 0
	}
	return most.Seconds() / sum.Seconds()
}

// unevenFrom is the part from which on it is too much.
func (g *Group) unevenFrom() float64 {
	return min(unevenTimes*float64(g.Required)/float64(len(g.Pumps)), 0.95)
}

// groupJudges judge the alarms of a group, by name.
var groupJudges = map[string]func(s *State, g *Group, i int) alarm.Condition{
	"circulation_lost":      judgeLost,
	"circulation_unseen":    judgeUnseen,
	"circulation_low":       judgeLow,
	"group_reverse_flow":    judgeBackwards,
	"group_power_lost":      func(s *State, _ *Group, i int) alarm.Condition { return held(s.Groups[i].Dark) },
	"no_spare_left":         judgeSpare,
	"too_many_running":      judgeTooMany,
	"standby_not_exercised": judgeExercise,
	"hours_uneven":          judgeUneven,
}

// possible is whether a group of that make can have the alarm at all.
func (g *Group) possible(name string) bool {
	switch name {
	case "circulation_low":
		return g.Target > 0 || g.Drying.WaterOut > 0
	case "no_spare_left", "too_many_running":
		return len(g.Pumps) > g.Required
	case "standby_not_exercised":
		return len(g.Pumps) > g.Required && g.Exercise > 0
	case "hours_uneven":
		return len(g.Pumps) > g.Required && g.ChangeOver > 0
	}
	return true
}

// judgeLost: glycol is wanted and too few pumps deliver it, or, which is worse,
// none. Where all power is gone, the message about that speaks for it.
func judgeLost(s *State, _ *Group, i int) alarm.Condition {
	v := &s.views[i]
	c := alarm.Judged(alarm.No)
	switch {
	case s.Groups[i].Dark || v.Wanted == alarm.Unknown && v.Moves != alarm.Yes:
		return alarm.Condition{}
	case v.Wanted == alarm.Yes && v.Moves == alarm.Unknown:
		return alarm.Condition{}
	case v.Wanted == alarm.Yes:
		c.Holds = alarm.KnownBool(v.Moves == alarm.No)
		c.Worse = v.Moves == alarm.No && v.Delivering+v.Perhaps == 0
	}
	if v.FlowKnown {
		c.HasValue, c.Value = true, float64(v.Flow)
	}
	c.AtOnce, c.Respond = s.urged(i)
	return c
}

// judgeUnseen: nobody can tell whether it moves, and nothing says that it need
// not. A pump that is seen to run is a witness, though its meter cannot be read.
func judgeUnseen(s *State, _ *Group, i int) alarm.Condition {
	v := &s.views[i]
	return held(v.Moves == alarm.Unknown && v.Delivering+v.unread < v.Required && v.Wanted != alarm.No && !s.Groups[i].Dark)
}

func judgeLow(s *State, _ *Group, i int) alarm.Condition {
	v := &s.views[i]
	if !v.FlowKnown || v.Moves != alarm.Yes || v.TargetBy == wantedUnknown {
		return alarm.Condition{} // a pause tells nothing of the rate
	}
	c := held(v.Flow < v.Target && v.Gas != alarm.No)
	c.HasValue, c.Value, c.HasLimit, c.Limit = true, float64(v.Flow), true, float64(v.Target)
	return c
}

// judgeBackwards: the page of all pumps of a group that stand and let something
// flow back. What they share shows it at each of them.
func judgeBackwards(s *State, _ *Group, i int) alarm.Condition {
	v := &s.views[i]
	if v.Backwards == 0 && v.backUnseen {
		return alarm.Condition{}
	}
	return held(v.Backwards > 0)
}

func judgeSpare(s *State, _ *Group, i int) alarm.Condition {
	v := &s.views[i]
	if v.Spare == 0 && !v.SpareSeen || s.Groups[i].Dark {
		return alarm.Condition{}
	}
	return held(v.Spare == 0)
}

func judgeTooMany(s *State, g *Group, i int) alarm.Condition {
	v := &s.views[i]
	if v.Running <= g.Required && v.Running+v.unseen > g.Required {
		return alarm.Condition{}
	}
	return held(v.Running > g.Required)
}

func judgeExercise(s *State, g *Group, i int) alarm.Condition {
	stood := s.Groups[i].longest()
	c := held(stood > g.Exercise)
	c.HasValue, c.Value, c.HasLimit, c.Limit = true, stood.Seconds(), true, g.Exercise.Seconds()
	return c
}

func judgeUneven(s *State, g *Group, i int) alarm.Condition {
	part := s.Groups[i].Share.Largest
	if part == 0 {
		return alarm.Condition{}
	}
	c := held(part > g.unevenFrom())
	c.HasValue, c.Value, c.HasLimit, c.Limit = true, part, true, g.unevenFrom()
	return c
}

// defineGroups makes the alarms of every group.
func (set *Settings) defineGroups() {
	for i := range set.Groups {
		g := &set.Groups[i]
		for _, d := range alarm.GroupAlarms(nil) {
			if j := groupJudges[d.Name]; g.possible(d.Name) {
				set.add(alarm.OfGroup(d.Name, g.ID), func(s *State, _ *Batch) alarm.Condition { return j(s, g, i) })
			}
		}
	}
}

// surround fills in how the group stood around an event of it.
func (s *State) surround(set *Settings, e *alarm.Event) {
	if e.Text == "pump_unseen" || e.Text == "pump_power_lost" {
		e.Subject = listed(append([]string{e.Subject}, s.with(set, e)...))
	}
	i := slices.IndexFunc(set.Groups, func(g Group) bool { return g.ID == e.Group })
	if e.Group == "" || i < 0 {
		return
	}
	v := &s.views[i]
	e.GasFlowing, e.Standby = v.Gas, string(v.Behind())
	count := func(key string, n int) {
		e.Evidence = append(e.Evidence, alarm.Evidence{Key: key, Quantity: alarm.Quantity{Value: float64(n)}})
	}
	if slices.Contains(ofTheSite, e.Text) {
		e.Subject = listed(s.with(set, e))
	}
	if e.Text == "group_reverse_flow" {
		count("pumps_backwards", v.Backwards)
		if v.Backwards == 1 {
			e.Subject = set.Groups[i].Pumps[v.back]
		}
		return
	}
	for _, pump := range set.Groups[i].Pumps {
		if name := s.Groups[i].Spoken[pump]; name != "" && e.Alarm == alarm.OfGroup("circulation_lost", e.Group).Name {
			e.Alarms = append(e.Alarms, pump+"/"+name)
		}
	}
	if (e.Text == "circulation_short" || e.Text == "no_spare_left") && v.missing >= 0 {
		e.Subject = set.Groups[i].Pumps[v.missing]
	}
	count("pumps_delivering", v.Delivering)
	count("pumps_required", v.Required)
	if e.Text == "circulation_low" && v.TargetBy == targetByGas {
		e.Evidence = append(e.Evidence, alarm.Evidence{Key: "circulation_needed", Quantity: alarm.Quantity{Value: float64(v.Target), Dimension: quantity.Flow}})
	}
}
