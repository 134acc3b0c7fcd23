package alarm

import "time"

// marked reports whether any of the three marks stands.
func (m *Machine) marked() bool { return m.ShelvedFor > 0 || m.Removed || m.Suppressed != 0 }

// passMarks lets shelving run out and says when a review is due. Shelving ends
// too when nobody can tell how much time has passed; a review then waits.
func (m *Machine) passMarks(d *Definition, now *Moment, out []Event) []Event {
	if m.ShelvedFor > 0 {
		m.ShelvedFor = max(m.ShelvedFor-now.Elapsed, 0)
		if now.Lost {
			m.ShelvedFor = 0
		}
		if m.ShelvedFor == 0 {
			out = append(out, m.leave(d, now, Unshelved))
		}
	}
	if m.Removed && m.ReviewIn > 0 {
		if m.ReviewIn -= now.Elapsed; m.ReviewIn <= 0 {
			m.ReviewIn = ReviewDefault
			e := m.event(d, now, Reminded, m.State)
			e.Notify = min(d.Notify, NextWorkingDay)
			out = append(out, e)
		}
	}
	return out
}

// unsuppress ends suppression, which has been taken off m before. Over an
// alarm that is normal before and after it is not worth an entry.
func (m *Machine) unsuppress(d *Definition, now *Moment, out []Event) []Event {
	if m.State == Normal {
		return out
	}
	return append(out, m.leave(d, now, Unsuppressed))
}

// leave is called when a mark was taken off m. With the last of them gone the
// alarm is seen afresh: what holds is unacknowledged, what does not is normal.
// A latch that nobody reset is no judgement of the present and stays, to be
// acknowledged again.
func (m *Machine) leave(d *Definition, now *Moment, kind Kind) Event {
	from := m.State
	if !m.marked() {
		m.State = seenAfresh(from)
		m.Waited, m.Waiting = 0, waiting{}
	}
	e := m.event(d, now, kind, from)
	if m.State == Unacknowledged && !m.marked() {
		e.Notify = d.Notify
		m.handOver(&e)
		if e.Notify == Now && m.waits(d) {
			e.EscalateIn = m.escalateAfter(d)
		}
	}
	return e
}

func seenAfresh(s State) State {
	switch s {
	case Unacknowledged, Acknowledged:
		return Unacknowledged
	case LatchedUnacknowledged, LatchedAcknowledged:
		return LatchedUnacknowledged
	}
	return Normal
}

// announce gives the event of a condition with its facts. It is announced to
// the responder when it calls for a person and no mark stands.
func (m *Machine) announce(d *Definition, now *Moment, c *Condition, kind Kind, from State) Event {
	if kind == Raised || kind == Worsened || kind == Reminded {
		m.Respond = c.Respond
	}
	e := m.event(d, now, kind, from)
	e.Quality, e.Reason, e.DataAge = c.Quality, c.Reason, c.DataAge
	if c.HasValue {
		e.Value = &Quantity{c.Value, d.Dimension}
	}
	if c.HasLimit {
		e.Limit = &Quantity{c.Limit, d.Dimension}
	}
	if (kind == Raised || kind == Worsened || kind == Reminded || kind == Escalated) && !m.marked() {
		e.Notify = d.Notify
		if kind == Raised || kind == Worsened {
			m.handOver(&e)
		}
	}
	if e.Notify == Now && m.waits(d) {
		e.EscalateIn = m.escalateAfter(d)
	}
	return e
}

// event gives the bare event: announced to nobody, with no number.
func (m *Machine) event(d *Definition, now *Moment, kind Kind, from State) Event {
	e := Event{
		Kind: kind, At: now.At, Alarm: d.Name, Text: d.text(m.Level), Occurrence: m.Occurrence,
		Class: d.Class, Priority: d.priority(m.Level), Responder: d.Responder, Notify: Never,
		State: m.State, Previous: from, RaisedAt: m.RaisedAt,
		ShelvedNow: m.ShelvedFor > 0, RemovedNow: m.Removed, SuppressedBy: m.Suppressed,
		TimeToRespond: m.respond(d), Signal: d.Signal, Subject: d.Subject, Group: d.Group,
	}
	if m.Level != Clear || kind == Cleared {
		e.Duration = m.heldFor(now)
	}
	return e
}

// heldFor is how long the condition of an active alarm has held, as far as
// the clocks can tell; at least how long it had held when it was raised.
func (m *Machine) heldFor(now *Moment) time.Duration {
	elapsed, _ := now.At.Since(m.RaisedAt)
	return m.Onset + max(elapsed, 0)
}
