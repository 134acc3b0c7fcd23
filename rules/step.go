package rules

import (
	"time"

	"pumpside/drivers"
	"pumpside/rules/alarm"
	"pumpside/rules/counters"
	"pumpside/rules/diagnosis"
)

// steadyAfter is how long a pump must have run before it is steady enough for
// fast windows.
const steadyAfter = 30 * time.Second

// Step moves the pump to the batch's instant and gives what follows. Batches
// come in the order of their instants within one boot; the readings of an
// earlier one are dropped, its commands are carried out. The changes are valid
// until the next Step.
func Step(set *Settings, s *State, b *drivers.Batch) []Change {
	late := b.At.Before(s.moment.At)
	at := b.At
	if late {
		at = s.moment.At
	}
	s.moment = s.Alarms.Clock.Tick(at)
	if late {
		s.moment.Elapsed, s.moment.Watched, s.moment.Lost = 0, 0, false
	}
	if !late {
		s.count(set, b)
	}
	s.hear(b)
	s.heard = s.heard || len(b.Readings) > 0
	s.status, s.totals = s.Counters.Status(&set.Counters), s.Counters.Totals(&set.Counters)
	s.moment.Logic, s.moment.SinceStart = s.circumstances(set)
	s.take(set, b, late)
	if !late {
		s.Trend.Step(b)
		s.mark()
		s.wear(set)
	}
	s.Watch.step(set, s)
	s.operation = s.Operation(set)
	if set.observes() && !late {
		s.observe(set, b)
		s.followRepair(set)
	}
	if s.judges(b) {
		s.measure(set)
		s.judge(set)
	}
	for i := range b.Commands {
		s.obey(set, &b.Commands[i])
	}
	return s.flush(set)
}

// count passes the batch to the counters and journals what they found out.
func (s *State) count(set *Settings, b *drivers.Batch) {
	s.counted = counters.Step(&set.Counters, &s.Counters, b, s.counted[:0])
	for i := range s.counted {
		s.recordCounted(&s.counted[i])
	}
}

// judgeAtMost is how often a fast window moves alarms, whose delays are
// seconds.
const judgeAtMost = 100 * time.Millisecond

// judges is whether a batch moves the alarms: not one of a fast window, good
// pressures and index and nothing else, soon after the last that did. At one
// instant all or the last of several batches do, so that it does not matter how
// they were split.
func (s *State) judges(b *drivers.Batch) bool {
	s.unjudged.Elapsed += s.moment.Elapsed
	s.unjudged.Watched += s.moment.Watched
	since := s.moment.At.SinceBoot - s.judgedAt
	if since <= 0 || since >= judgeAtMost || s.moment.Lost || len(b.Readings) == 0 || len(b.Commands) > 0 || b.Group.Told {
		return true
	}
	for i := range b.Readings {
		switch r := &b.Readings[i]; r.Signal {
		case drivers.DischargePressure, drivers.SuctionPressure, drivers.ShaftIndex:
			if r.Quality != drivers.Good {
				return true
			}
		default:
			return true
		}
	}
	return false
}

// judge finds the condition of every alarm and moves the alarms on by all time
// since it last did.
func (s *State) judge(set *Settings) {
	for i := range set.defs {
		s.conditions[i] = set.judges[i](set, s, i)
	}
	s.carry(set)
	now := s.moment
	now.Elapsed, now.Watched = s.unjudged.Elapsed, s.unjudged.Watched
	s.unjudged, s.judgedAt = alarm.Moment{}, now.At.SinceBoot
	s.happened = s.Alarms.Step(set.defs, &now, s.conditions, s.happened)
}

// circumstances gives the conditions of operation that hold now, and how long
// the pump has run.
func (s *State) circumstances(set *Settings) (logic alarm.Logic, sinceStart time.Duration) {
	running, since := s.running()
	switch {
	case running == alarm.No:
		logic |= alarm.PumpStopped
	case running == alarm.Yes:
		sinceStart = since
		if since < 20*time.Minute && s.cold(set) {
			logic |= alarm.ColdStart
		}
	}
	if s.powered(set) == alarm.No {
		logic |= alarm.PowerLost
	}
	logic |= s.sharing(set)
	if since, known := s.moment.At.Since(s.Observed.Service); known && !s.Observed.Service.IsZero() && since < diagnosis.AfterService {
		logic |= alarm.AfterService
	}
	return logic, sinceStart
}

func (s *State) cold(set *Settings) bool {
	t, ok := s.newest(set, drivers.GlycolTemperature)
	return ok && t < float64(set.Judging.WarmAt)
}

// flush numbers the events, fills in the circumstances they happened in, and
// gives them with closed blocks as changes.
func (s *State) flush(set *Settings) []Change {
	if len(s.happened) == 0 && len(s.captured) == 0 && !s.Trend.HasClosed() {
		return nil
	}
	s.changes = s.changes[:0]
	for i := range s.happened {
		e := s.happened[i] // a copy of its own: the journal keeps it
		s.Seq++
		e.Seq = s.Seq
		s.surround(set, &e)
		s.remember(set, &e)
		s.changes = append(s.changes, Change{Event: &e})
	}
	s.happened = s.happened[:0]
	for _, block := range s.Trend.TakeClosed() {
		s.changes = append(s.changes, Change{Block: block})
	}
	for _, c := range s.captured {
		s.changes = append(s.changes, Change{Capture: c})
	}
	s.captured = s.captured[:0]
	return s.changes
}

// surround fills in what was the case around the event.
func (s *State) surround(set *Settings, e *alarm.Event) {
	e.PumpRunning, _ = s.running()
	e.GasFlowing = s.gasFlowing(set)
	e.Standby = s.standby()
	if code, ok := s.newest(set, drivers.DriveFaultCode); ok {
		e.DriveFaultCode = int(code)
	}
	switch e.Alarm {
	case "reverse_flow":
		e.Evidence = append(e.Evidence, s.backwards(set)...)
	case "loss_in_one_head", "finding", "efficiency_low":
		if e.Kind == alarm.Raised || e.Kind == alarm.Worsened || e.Kind == alarm.Eased {
			e.Causes, e.Evidence = s.observer.causes(), append(e.Evidence, s.observer.proof()...)
		}
	}
	if e.Alarm == "oil_use_rising" && s.oilUse != nil {
		e.Evidence = append(e.Evidence, number("oil_use_before", s.oilUse.Before), number("oil_use_lately", s.oilUse.Lately))
	}
	e.Text = s.oilWords(set, e.Text, e.Subject)
	if s.Last.Task != "" {
		e.LastService, e.LastServiceBy = s.Last.Task, s.Last.By
		e.SinceLastService = s.totals.Run - s.Last.Totals.RunTime
	}
}

func (s *State) gasFlowing(set *Settings) alarm.Known {
	if flow, ok := s.settled(set, drivers.GasFlow); ok {
		return alarm.KnownBool(flow > 0)
	}
	return alarm.Unknown
}

// remember keeps the newest transition of each alarm for those who look.
func (s *State) remember(set *Settings, e *alarm.Event) {
	if e.Kind == alarm.Recorded || e.Kind == alarm.Refused {
		return
	}
	for i := range set.defs {
		if set.defs[i].Name == e.Alarm {
			s.last[i] = e
		}
	}
}
