package rules

import (
	"math"

	"pumpside/drivers"
	"pumpside/rules/alarm"
	"pumpside/rules/counters"
	"pumpside/rules/service"
)

// A judge finds the condition of the i-th alarm at the state's moment.
type judge func(set *Settings, s *State, i int) alarm.Condition

func judgeOf(by alarm.By) judge {
	switch by {
	case alarm.ByRate:
		return judgeRate
	case alarm.ByDeviation:
		return judgeDeviation
	}
	return judgeValue
}

// judgeValue serves every rule that looks at one signal as it is.
func judgeValue(set *Settings, s *State, i int) alarm.Condition {
	d := &set.defs[i]
	place, _ := set.place(d.Signal)
	return d.Rule.Judge(s.measured(set, place), s.Alarms.Alarms[i].Judged)
}

func judgeRate(set *Settings, s *State, i int) alarm.Condition {
	d := &set.defs[i]
	place, _ := set.place(d.Signal)
	m := s.measured(set, place)
	if m.Quality != drivers.Bad && !math.IsNaN(m.Value) {
		s.slopes[i].Add(s.moment.At.SinceBoot, m.Value)
	}
	m.Value = s.slopes[i].PerSecond()
	return d.Rule.Judge(m, s.Alarms.Alarms[i].Judged)
}

func judgeDeviation(set *Settings, s *State, i int) alarm.Condition {
	d := &set.defs[i]
	place, _ := set.place(d.Signal)
	against, _ := set.place(d.Rule.Against)
	return d.Rule.Judge(s.measured(set, place).Less(s.measured(set, against)), s.Alarms.Alarms[i].Judged)
}

// judgeDue is over when judgeOverdue begins.
func judgeDue(task int) judge {
	return func(set *Settings, s *State, i int) alarm.Condition {
		life, status := &s.lives[task], s.lives[task].status
		c := alarm.Judged(alarm.KnownBool(status == service.DueSoon || status == service.Due))
		c.Worse = status == service.Due
		return s.unlessBlind(life, withValue(c, life.Used, limitOf(set.Tasks[task], c.Worse)), i)
	}
}

func judgeOverdue(task int) judge {
	return func(set *Settings, s *State, i int) alarm.Condition {
		life := &s.lives[task]
		return s.unlessBlind(life, withValue(alarm.Judged(alarm.KnownBool(life.status == service.Overdue)), life.Used, set.Tasks[task].Overdue), i)
	}
}

// unlessBlind gives c, found of a life for the i-th alarm. While nobody can tell
// the calendar, as after a boot until the clock is set, what is due by it is no
// less due than before.
func (s *State) unlessBlind(life *taskLife, c alarm.Condition, i int) alarm.Condition {
	level := alarm.Clear
	switch {
	case c.Holds == alarm.Yes && c.Worse:
		level = alarm.FarBeyond
	case c.Holds == alarm.Yes:
		level = alarm.Beyond
	}
	if life.blind && level < s.Alarms.Alarms[i].Judged {
		return alarm.Condition{}
	}
	return c
}

// judgeAsked holds while a finding that advises a visit points at a part which
// the task renews. Just after service nothing is suspected.
func judgeAsked(task int) judge {
	return func(set *Settings, s *State, _ int) alarm.Condition {
		switch {
		case s.moment.Logic&alarm.AfterService != 0:
			return alarm.Judged(alarm.No)
		case s.observer.ranking == nil:
			return alarm.Judged(s.judgedNo())
		}
		t, most, suspects := &set.Tasks[task], 0.0, s.findings()
		for i := range s.Tasks[task].Places {
			most = max(most, t.Asked(t.Position(i), suspects))
		}
		return withValue(alarm.Judged(alarm.KnownBool(most >= service.SuspectFrom)), most, service.SuspectFrom)
	}
}

func limitOf(t service.Task, due bool) float64 {
	if due {
		return 1
	}
	return t.DueSoon
}

func withValue(c alarm.Condition, value, limit float64) alarm.Condition {
	c.HasValue, c.Value = true, value
	c.HasLimit, c.Limit = true, limit
	return c
}

// A standingJudge judges a standing alarm; possible says whether the signals
// it needs are there.
type standingJudge struct {
	judge    judge
	possible func(*Settings) bool
}

func needs(signals ...drivers.Signal) func(*Settings) bool {
	return func(set *Settings) bool { return set.has(signals...) }
}

// standing has the judges of the standing alarms, by name.
var standing = map[string]standingJudge{
	"no_flow":          {judgeNoFlow, needs(drivers.GlycolFlow, drivers.GlycolFlowSwitch)},
	"failed_to_prime":  {judgePrime, needs(drivers.GlycolFlow, drivers.GlycolFlowSwitch)},
	"too_cold_to_pump": {judgeTooCold, needs(drivers.GlycolTemperature)},
	"reverse_flow":     {judgeReverse, needs(drivers.SuctionPressure, drivers.GlycolLevel, drivers.GlycolVolume)},
	"diaphragm_leak":   {judgeSwitch(drivers.DiaphragmLeak, alarm.Yes), needs(drivers.DiaphragmLeak)},
	"oil_level_low":    {judgeSwitch(drivers.OilLevelSwitch, alarm.Yes), needs(drivers.OilLevelSwitch)},
	"power_lost":       {judgePower, needs(drivers.ControlPower)},
	"overspeed": {judgeOverspeed, func(set *Settings) bool {
		return set.Judging.RatedSpeed > 0 && set.has(drivers.MotorSpeed, drivers.DriveFrequency, drivers.ShaftIndex)
	}},
	"drive_fault":               {judgeDriveFault, needs(drivers.DriveStatus)},
	"stopped_unexplained":       {judgeUnexplained, needs(drivers.RunDemand)},
	"stopped_by_permissive":     {judgePermissive, needs(drivers.Permissive)},
	"stopped_longer_than_usual": {judgeTooLong, func(set *Settings) bool { return !set.has(drivers.RunDemand) }},
	"selector_not_auto":         {judgeSelector, needs(drivers.Selector)},
	"drive_restarts":            {judgeRestarts, needs(drivers.DriveStatus)},
	"short_cycling":             {judgeShortCycling, func(*Settings) bool { return true }},
	"oil_use_rising":            {judgeOilUse, func(*Settings) bool { return true }},
	"running_disputed":          {judgeDisputed, func(*Settings) bool { return true }},
	"meter_not_run_hours":       {judgeMeter, needs(drivers.DriveRunHours)},
	"leak_down":                 {judgeLeakDown, needs(drivers.DischargePressure)},
	"head_failing": {judgeFailing, func(set *Settings) bool {
		return set.observes() && set.has(drivers.DischargePressure) && set.has(drivers.GlycolFlow)
	}},
	"loss_in_one_head":      {judgeOneHead, watches(drivers.DischargePressure)},
	"finding":               {judgeFinding, watches(drivers.DischargePressure, drivers.GlycolFlow)},
	"efficiency_low":        {judgeEfficiency, watches(drivers.GlycolFlow)},
	"efficiency_impossible": {judgeImpossible, watches(drivers.GlycolFlow)},
	"npsh_margin_low":       {judgeMargin, tellsMargin},
}

// judgeSwitch holds while a switch stands at that answer.
func judgeSwitch(signal drivers.Signal, at alarm.Known) judge {
	return func(set *Settings, s *State, _ int) alarm.Condition {
		place, _ := set.place(signal)
		m := s.measured(set, place)
		c := alarm.Condition{Quality: m.Quality, Reason: m.Reason, DataAge: m.Age}
		if m.Quality != drivers.Bad {
			c.Holds = alarm.KnownBool(alarm.KnownBool(m.Value >= 0.5) == at)
		}
		return c
	}
}

// judgeNoFlow: the pump runs and gave flow since its start, but does no more.
// Before the first flow it is failed_to_prime that speaks. While nobody knows
// whether it runs, no flow tells something of one only that ran when last seen.
func judgeNoFlow(set *Settings, s *State, _ int) alarm.Condition {
	c := s.flowing(set)
	c.Holds = not(c.Holds)
	if running, _ := s.running(); c.Holds == alarm.Yes && running == alarm.Unknown && s.Watch.Ran != alarm.Yes {
		return alarm.Condition{}
	}
	if s.Watch.Primed == alarm.No && c.Holds == alarm.Yes {
		c.Holds = alarm.No
	}
	return c
}

func judgePrime(set *Settings, s *State, _ int) alarm.Condition {
	c := s.flowing(set)
	if c.Holds != alarm.Unknown || s.Watch.Primed != alarm.No { // else nobody can tell whether it has primed
		c.Holds = alarm.KnownBool(s.Watch.Primed == alarm.No)
	}
	return c
}

// flowing holds while this pump's glycol flows, by the meter or else by the
// switch. What others may deliver tells nothing.
func (s *State) flowing(set *Settings) alarm.Condition {
	if s.notOwn(set, drivers.GlycolFlow) || s.notOwn(set, drivers.GlycolFlowSwitch) {
		return alarm.Condition{}
	}
	if place, ok := set.place(drivers.GlycolFlow); ok {
		m := s.measured(set, place)
		c := alarm.Condition{Quality: m.Quality, Reason: m.Reason, DataAge: m.Age}
		if m.Quality != drivers.Bad && !math.IsNaN(m.Value) {
			c = withValue(c, m.Value, float64(set.Judging.NoFlowBelow))
			c.Holds = alarm.KnownBool(m.Value >= c.Limit)
		}
		return c
	}
	return alarm.Judged(s.is(set, drivers.GlycolFlowSwitch))
}

func not(k alarm.Known) alarm.Known {
	switch k {
	case alarm.Yes:
		return alarm.No
	case alarm.No:
		return alarm.Yes
	}
	return alarm.Unknown
}

// judgeTooCold speaks while the pump pushes glycol that is too viscous for it,
// or is asked to and has not begun.
func judgeTooCold(set *Settings, s *State, _ int) alarm.Condition {
	t, ok := s.newest(set, drivers.GlycolTemperature)
	if !ok {
		return alarm.Condition{}
	}
	running, _ := s.running()
	cold := t < float64(set.Judging.TooColdBelow)
	asked := running == alarm.Yes || s.operation.Asked == alarm.Yes
	return withValue(alarm.Judged(alarm.KnownBool(cold && asked)), t, float64(set.Judging.TooColdBelow))
}

func judgeReverse(_ *Settings, s *State, _ int) alarm.Condition {
	return alarm.Judged(s.operation.Backwards)
}

// overspeedFrom is the share of the rated speed at which overspeed begins: the
// estimate of a drive is good to a per cent or so.
const overspeedFrom = 1.02

func judgeOverspeed(set *Settings, s *State, _ int) alarm.Condition {
	rpm := s.status.ShaftSpeed
	if !s.status.SpeedKnown {
		return alarm.Condition{}
	}
	limit := overspeedFrom * float64(set.Judging.RatedSpeed)
	return withValue(alarm.Judged(alarm.KnownBool(float64(rpm) > limit)), float64(rpm), limit)
}

func judgeDriveFault(set *Settings, s *State, _ int) alarm.Condition {
	return alarm.Judged(s.faulted(set))
}

func judgeShortCycling(set *Settings, s *State, _ int) alarm.Condition {
	starts := s.status.StartsLastHour
	return withValue(alarm.Judged(alarm.KnownBool(starts > set.Judging.StartsPerHour)), float64(starts), float64(set.Judging.StartsPerHour))
}

// judgeOilUse goes by the ledger: too few top-ups tell nothing.
func judgeOilUse(_ *Settings, s *State, _ int) alarm.Condition {
	return alarm.Judged(alarm.KnownBool(s.oilUse != nil && s.oilUse.Rising))
}

func judgeDisputed(_ *Settings, s *State, _ int) alarm.Condition {
	return alarm.Judged(alarm.KnownBool(s.status.Disputed))
}

// judgeMeter: that a meter counts hours of power is no news where it was declared.
func judgeMeter(set *Settings, s *State, _ int) alarm.Condition {
	return alarm.Judged(alarm.KnownBool(s.status.MeterPowerOn && set.Counters.HourMeter.Kind != counters.PowerOnHours))
}
