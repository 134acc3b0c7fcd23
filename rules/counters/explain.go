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
		e.Reckoned = s.creditGap(set, run.Lo)
	}
	if e.Run == 0 && !ticked {
		return events
	}
	if ticked {
		if waits := run.Lo - e.Run; waits > 0 {
			s.await(set, waits)
		}
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

// creditGap credits run time in the open gap, and returns the revolutions
// reckoned for it.
func (s *State) creditGap(set *Settings, run time.Duration) (reckoned float64) {
	g := &s.Gap
	reckoned = s.reckon(set, run)
	unobserved := min(run, g.Budget)
	g.Budget -= unobserved
	s.credit(run, unobserved)
	if g.Loose > 0 {
		s.Counted.FromMeterLoose += run
	}
	s.countReckoned(set, reckoned)
	return reckoned
}

// await keeps run time of the open gap until the meter's kind is known.
func (s *State) await(set *Settings, run time.Duration) {
	g, a := &s.Gap, &s.Hours.Awaiting
	a.Run += run
	a.Unobserved += min(run, g.Budget)
	if g.Loose > 0 {
		a.Loose += run
	}
	a.Turns += s.reckon(set, run)
}

// creditAwaiting credits what closed gaps hold. A gap that is open meanwhile
// is measured from the same offset as before.
func (s *State) creditAwaiting(set *Settings, a awaiting) Event {
	h, c := &s.Hours, &s.Counted
	h.Awaiting = awaiting{}
	c.AtMost -= a.Run
	s.credit(a.Run, a.Unobserved)
	c.FromMeterLoose += a.Loose
	if s.Gap.Open {
		h.Base.Lo -= a.Run
		h.Base.Hi -= a.Run
	}
	s.countReckoned(set, a.Turns)
	return Event{Kind: GapClosed, At: s.instant(), Run: a.Run, Reckoned: a.Turns}
}

// credit moves run time out of the unobserved time. In a gap of unknown
// length there may be more of the one than of the other.
func (s *State) credit(run, unobserved time.Duration) {
	c, h := &s.Counted, &s.Hours
	c.Run += run
	c.FromMeter += run
	c.Unobserved -= unobserved
	c.AtLeast = max(c.AtLeast-run, 0)
	h.DriveRun += run
	h.Offset.Lo -= run
	h.Offset.Hi -= run
}

// reckon gives the revolutions of run time that the meter proves in the open
// gap, at the speed before it, as far as no index tells of them.
func (s *State) reckon(set *Settings, run time.Duration) float64 {
	x := &s.Turns
	n := s.usualSpeed(set) / 60 * run.Seconds() / float64(set.Ratio)
	switch {
	case !set.Installed.Has(drivers.ShaftIndex):
		return n
	case x.Blind:
		told := min(n, x.Unseen)
		x.Unseen -= told
		return n - told
	case s.lostSinceIndex() > 0: // it is yet to be read, and has the last word
		x.Owed += n
	}
	return 0
}

// usualSpeed is that of the motor before the open gap: its rated speed where
// no speed is measured, or none was seen yet.
func (s *State) usualSpeed(set *Settings) float64 {
	if usual := s.Running.Usual; usual > 0 && set.measuresSpeed() {
		return float64(usual)
	}
	return float64(set.RatedSpeed)
}

// countReckoned counts n revolutions that nothing counted.
func (s *State) countReckoned(set *Settings, n float64) {
	s.countTurns(set, n)
	s.Counted.Reckoned += n
}
