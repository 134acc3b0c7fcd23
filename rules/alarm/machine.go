package alarm

import (
	"time"

	"pumpside/drivers"
)

// A Machine is what one alarm remembers. The zero Machine is normal. All its
// times are lengths, not moments, so that a new boot needs no translation.
//
// Always: State is active exactly when Level is not Clear.
type Machine struct {
	Name       string          `json:"name"` // of its definition
	State      State           `json:"state,omitzero"`
	Level      Level           `json:"level,omitzero"`  // after the delays
	Judged     Level           `json:"judged,omitzero"` // last known, before the delays: what a deadband starts from
	Blind      bool            `json:"blind,omitzero"`  // the last condition was unknown: timers stand still
	Held       time.Duration   `json:"held,omitzero"`   // how long Judged has differed from Level at the first limit
	WorseHeld  time.Duration   `json:"worse_held,omitzero"`
	Occurrence uint64          `json:"occurrence,omitzero"` // raises so far
	RaisedAt   drivers.Instant `json:"raised_at,omitzero"`  // the last raise
	Onset      time.Duration   `json:"onset,omitzero"`      // how long before RaisedAt the condition began
	Waited     time.Duration   `json:"waited,omitzero"`     // since it was acknowledged, for re-alarm
	Waiting    waiting         `json:"waiting,omitzero"`    // since it was announced, for escalation
	Carry      carry           `json:"carry,omitzero"`      // who calls for it
	Respond    time.Duration   `json:"respond,omitzero"`    // what its call speaks for leaves no more time than that; 0: as the definition says

	Suppressed Logic         `json:"suppressed,omitzero"`  // by what, now
	ShelvedFor time.Duration `json:"shelved_for,omitzero"` // what is left of it; 0 when not shelved
	ShelvedBy  string        `json:"shelved_by,omitzero"`  // who shelved it last
	Removed    bool          `json:"removed,omitzero"`     // out of service
	RemovedBy  string        `json:"removed_by,omitzero"`  // who took it out of service last
	ReviewIn   time.Duration `json:"review_in,omitzero"`   // what is left until the review

	Chatter chatter `json:"chatter,omitzero"`
	Named   bool    `json:"named,omitzero"` // a summary of the present flood has named it

	still bool   // no timer runs: nothing can happen while the input stays the same
	by    string // the alarm whose call speaks for this one, at the moment
}

// Step moves the alarm to the moment now with the condition found, and appends
// what happened to out. It must be called at every moment, also when nothing
// was read. It allocates only when something happens.
func (m *Machine) Step(d *Definition, now *Moment, c *Condition, out []Event) []Event {
	level := c.level()
	m.by = c.CarriedBy
	if d.WhileRunning && now.Logic&PumpStopped != 0 {
		level = Clear
	}
	by := d.suppressedBy(now, m.Suppressed)
	if m.still && level == m.Level && by == m.Suppressed {
		return out
	}
	return m.step(d, now, level, by, c, out)
}

func (m *Machine) step(d *Definition, now *Moment, level Level, by Logic, c *Condition, out []Event) []Event {
	begins := m.Suppressed == 0 && by != 0
	ends := m.Suppressed != 0 && by == 0
	if begins {
		m.Suppressed = by
		if m.State != Normal {
			out = append(out, m.event(d, now, Suppressed, m.State))
		}
	}
	m.wait(d, now)
	out = m.judge(d, now, level, c, out)
	out = m.speakUp(d, now, c, out)
	out = m.escalate(d, now, c, out)
	out = m.remind(d, now, c, out)
	out = m.passMarks(d, now, out)
	m.Suppressed = by
	if ends {
		out = m.unsuppress(d, now, out)
	}
	m.still = m.isStill(d)
	return out
}

// isStill reports whether no timer of m runs.
func (m *Machine) isStill(d *Definition) bool {
	return !m.Blind && m.Judged == m.Level && m.ShelvedFor == 0 && !m.Removed && m.Chatter.idle() && m.Carry.By == "" &&
		(d.ReAlarm == 0 || m.State != Acknowledged) && !m.waits(d)
}

// judge runs the delays and makes the transitions of the condition.
func (m *Machine) judge(d *Definition, now *Moment, level Level, c *Condition, out []Event) []Event {
	if level == notKnown {
		m.Blind = true
		return out
	}
	watched := now.Watched
	if m.Blind {
		watched, m.Blind = 0, false
	}
	if m.Chatter.pass(now, watched, level != m.Judged) {
		out = append(out, m.announce(d, now, c, Settled, m.State))
	}
	on, off := d.OnDelay, m.Chatter.offDelay(d.OffDelay)
	if c.AtOnce {
		on = 0
	}
	first := hold{m.Level >= Beyond, m.Judged >= Beyond, level >= Beyond}.pass(&m.Held, watched, on, off)
	worse := hold{m.Level == FarBeyond, m.Judged == FarBeyond, level == FarBeyond}.pass(&m.WorseHeld, watched, on, max(off, d.worseOff()))
	m.Judged = level
	return m.move(d, now, levelOf(first, worse), c, out)
}

func levelOf(first, worse bool) Level {
	switch {
	case !first:
		return Clear
	case worse:
		return FarBeyond
	}
	return Beyond
}

// move makes the transition from m.Level to the level after the delays.
func (m *Machine) move(d *Definition, now *Moment, to Level, c *Condition, out []Event) []Event {
	from, was := m.State, m.Level
	switch {
	case to == was:
		return out
	case was == Clear:
		return m.raise(d, now, to, c, out)
	case to == Clear:
		m.State = afterClear(from, d.Latching)
		e := m.announce(d, now, c, Cleared, from)
		m.Level, m.Held = Clear, 0
		return append(out, e)
	case to == FarBeyond:
		if from != Unacknowledged {
			m.Waiting = waiting{} // who has not acknowledged the alarm is not given more time by its getting worse
		}
		m.Level, m.State = to, Unacknowledged
		return append(out, m.announce(d, now, c, Worsened, from))
	}
	m.Level = to
	return append(out, m.announce(d, now, c, Eased, from))
}

func (m *Machine) raise(d *Definition, now *Moment, to Level, c *Condition, out []Event) []Event {
	from := m.State
	m.Level, m.State = to, Unacknowledged
	m.Occurrence++
	m.RaisedAt, m.Onset, m.Held, m.Waited, m.Waiting = now.At, m.Held, 0, 0, waiting{}
	out = append(out, m.announce(d, now, c, Raised, from))
	if m.Chatter.raised() {
		out = append(out, m.announce(d, now, c, Chattering, m.State))
	}
	return out
}

// afterClear is the state table for a condition that went away.
func afterClear(s State, latching bool) State {
	switch {
	case s == Unacknowledged && latching:
		return LatchedUnacknowledged
	case s == Unacknowledged:
		return ReturnedUnacknowledged
	case latching:
		return LatchedAcknowledged
	}
	return Normal
}

// remind brings back an acknowledged alarm that is still there after ReAlarm.
func (m *Machine) remind(d *Definition, now *Moment, c *Condition, out []Event) []Event {
	if m.State != Acknowledged || d.ReAlarm == 0 {
		return out
	}
	if m.Waited += now.Elapsed; m.Waited < d.ReAlarm {
		return out
	}
	m.State, m.Waited, m.Waiting = Unacknowledged, 0, waiting{}
	return append(out, m.announce(d, now, c, Reminded, Acknowledged))
}
