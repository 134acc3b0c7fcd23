package counters

import (
	"time"

	"pumpside/drivers"
)

// boundGap ends a gap by a meter of power-on hours, which moved by step in it
// and in the observed time around it.
func (s *State) boundGap(set *Settings, step time.Duration) {
	g := &s.Gap
	if !g.Open {
		return
	}
	if most := step + set.HourMeter.Resolution; g.Loose > 0 {
		g.Most = most
	} else {
		g.Most = min(g.Most, most)
	}
	s.closeGap(true)
}

// explain credits what the meter proves to have been run in the open gap. A
// tick seen since the gap says all the meter can say of it.
func (s *State) explain(set *Settings, t time.Duration, ticked bool, events []Event) []Event {
	g, h := &s.Gap, &s.Hours
	if !g.Open {
		return events
	}
	run := s.runInGap(set)
	g.Most = run.Hi
	if u := &g.Undated; u.Datable && t-u.End < set.ClockWait {
		return events
	}
	e := Event{Kind: GapClosed, At: s.instant(), AtMost: run.Hi, Unbounded: g.Loose > 0}
	if h.kind(set) == RunHours && run.Lo > 0 {
		e.Run, e.AtMost = run.Lo, run.Hi-run.Lo
		g.Most -= run.Lo
		s.creditGap(set, run.Lo)
	}
	if e.Run == 0 && !ticked {
		return events
	}
	if ticked {
		h.Awaiting += run.Lo - e.Run
		s.closeGap(!set.Installed.Has(drivers.BypassContactor))
	}
	return append(events, e)
}

// runInGap is between what the meter proves of the open gap and what it
// allows. It knows nothing of a motor run past the drive.
func (s *State) runInGap(set *Settings) span {
	g, h := &s.Gap, &s.Hours
	run := span{max(h.Offset.Lo-h.Base.Hi, 0), max(h.Offset.Hi-h.Base.Lo, 0)}
	if g.Loose == 0 {
		run.Lo, run.Hi = min(run.Lo, g.Budget), min(run.Hi, g.Budget)
	}
	if set.Installed.Has(drivers.BypassContactor) {
		run.Hi = max(run.Hi, g.Budget)
	}
	return run
}

// creditGap credits run time in the open gap.
func (s *State) creditGap(set *Settings, run time.Duration) {
	g := &s.Gap
	unobserved := min(run, g.Budget)
	g.Budget -= unobserved
	s.credit(set, run, unobserved)
	if g.Loose > 0 {
		s.Counted.FromMeterLoose += run
	}
}

// credit moves run time out of the unobserved time. In a gap of unknown
// length there may be more of the one than of the other. On a motor without
// speed control the run time says the revolutions as well.
func (s *State) credit(set *Settings, run, unobserved time.Duration) {
	c, h := &s.Counted, &s.Hours
	c.Run += run
	c.FromMeter += run
	c.Unobserved -= unobserved
	c.AtLeast = max(c.AtLeast-run, 0)
	h.DriveRun += run
	h.Offset.Lo -= run
	h.Offset.Hi -= run
	if !set.measuresSpeed() && !set.Installed.Has(drivers.ShaftIndex) {
		s.countTurns(set, float64(set.RatedSpeed)/60*run.Seconds()/float64(set.Ratio))
	}
}
