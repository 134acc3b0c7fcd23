package counters

import (
	"math"
	"time"

	"pumpside/drivers"
)

// clockError is by how much two synchronised clocks may disagree.
const clockError = 2 * time.Second

// A gap is unobserved time that may yet be explained: by the hour meter, and
// by a clock that becomes synchronised after a reboot. Gaps that come before
// the meter has explained the last one are explained together.
type gap struct {
	Rebooted bool    `json:"rebooted,omitempty"` // since the last reading that told of the motor
	Undated  undated `json:"undated"`

	// What the hour meter needs to close the gap.
	Open   bool          `json:"open,omitempty"`
	Loose  uint32        `json:"loose,omitempty"`  // gaps in it whose length is not known
	Budget time.Duration `json:"budget,omitempty"` // unobserved time in it
	Most   time.Duration `json:"most,omitempty"`   // what of it may be run time
}

// undated is what a clock needs to date the gap of the last reboot.
type undated struct {
	Datable bool          `json:"datable,omitempty"` // else the rest is zero
	Before  moment        `json:"before"`            // the last reading before it, whose clock was synchronised
	End     time.Duration `json:"end,omitempty"`     // the first reading after it
}

// reboot moves every time kept to the time base of another boot. How long
// the machine was off is not known yet: it takes the least, so that the newest
// thing seen was just as the new boot began. What is not a meter says nothing
// across a boot.
func (s *State) reboot(boot string, now moment) {
	latest, seen := s.Seen.newest()
	if r := &s.Running; r.Known && (!seen || r.At.At > latest) {
		latest = r.At.At
	}
	s.shift(max(latest, 0), math.MaxInt64)
	s.Seen.reboot()
	s.Ripple = ripple{}
	if s.Running.Known && !s.Gap.Rebooted {
		s.Gap.Rebooted = true
		s.Gap.Undated = undated{}
		if s.Running.At.Synchronized {
			s.Gap.Undated = undated{Datable: true, Before: s.Running.At}
		}
	}
	s.Boot, s.Frame = boot, frame{Now: now}
}

// shift makes everything that happened before the given time older by d.
func (s *State) shift(d, before time.Duration) {
	older := func(t *time.Duration) {
		if *t < before {
			*t -= d
		}
	}
	for k := range slotN {
		if s.Seen.Have.has(k) {
			older(&s.Seen.At[k])
		}
	}
	for i := range s.Starts.N {
		older(&s.Starts.At[i])
	}
	older(&s.Running.At.At)
	older(&s.Running.Flipped)
	older(&s.Running.Since)
	if s.Gap.Undated.Datable {
		older(&s.Gap.Undated.Before.At)
	}
	older(&s.Turns.Moved)
	if s.Hours.Seen {
		older(&s.Hours.QuietSince)
	}
	if s.Hours.Doubt.Raised {
		older(&s.Hours.Doubt.At)
	}
}

// unobserved takes the time up to t as a gap.
func (s *State) unobserved(set *Settings, t time.Duration, events []Event) []Event {
	g := &s.Gap
	loose := false
	if g.Rebooted {
		g.Rebooted = false
		if g.Undated.Datable {
			g.Undated.End = t
		}
		_, dated := s.date()
		loose = !dated
	}
	d := t - s.Running.At.At
	s.Running.Exact = false
	s.lose(set, d, loose)
	if d < set.TellGap && !loose {
		return events
	}
	return append(events, Event{Kind: GapUnobserved, At: s.instant(), For: d, Unbounded: loose})
}

// lose counts d as unobserved; loose, when it may have been longer. With an
// hour meter that was read before, the gap stays open for it.
func (s *State) lose(set *Settings, d time.Duration, loose bool) {
	g, c, h := &s.Gap, &s.Counted, &s.Hours
	c.Unobserved += d
	if loose {
		c.Unbounded++
	}
	h.Unbroken, h.Still = false, 0
	if !h.Seen || !set.Installed.Has(drivers.DriveRunHours) {
		c.AtMost += d
		return
	}
	if !g.Open {
		g.Open, h.Base = true, h.Offset
	}
	g.Budget += d
	g.Most += d
	h.Offset.Hi += d
	if loose {
		g.Loose++
		h.Offset.Hi += set.LongestGap
	}
}

// date finds how much longer the gap of the last reboot was than the least it
// can have been, and moves what was before it. It is not ok while a clock is
// not synchronised, or when the clocks contradict the time since boot.
func (s *State) date() (longer time.Duration, ok bool) {
	u, now := s.Gap.Undated, &s.Frame.Now
	if !u.Datable || !now.Synchronized {
		return 0, false
	}
	s.Gap.Undated = undated{}
	longer = time.Duration(now.Wall-u.Before.Wall) - (now.At - u.Before.At)
	if longer < -clockError || longer > longestMeter {
		return 0, false
	}
	longer = max(longer, 0)
	s.shift(longer, u.End)
	s.Seen.Across = 0
	return longer, true
}

// dateLate dates a gap that was already taken as unobserved.
func (s *State) dateLate(events []Event) []Event {
	longer, ok := s.date()
	if !ok {
		return events
	}
	c, g := &s.Counted, &s.Gap
	c.Unobserved += longer
	c.Unbounded--
	if g.Loose > 0 { // the last one in it is this one
		g.Budget += longer
		g.Most += longer
		g.Loose--
	} else {
		c.AtMost += longer
	}
	return append(events, Event{Kind: GapDated, At: s.instant(), For: longer})
}

// closeGap ends what may be explained of the gap. A meter that bounded it stands
// in for a length that is not known.
func (s *State) closeGap(bounded bool) {
	g, c := &s.Gap, &s.Counted
	c.AtMost += g.Most
	if bounded && g.Loose > 0 {
		c.Unbounded -= g.Loose
		g.Undated = undated{}
	}
	g.Open, g.Loose, g.Budget, g.Most = false, 0, 0, 0
	s.Hours.Base = span{}
	s.Turns.Blind, s.Turns.Unseen = false, 0
}
