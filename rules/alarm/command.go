package alarm

import (
	"fmt"
	"time"

	"pumpside/drivers"
)

// How long marks last when nobody says, and at most.
const (
	ShelveDefault = 8 * time.Hour
	ShelveMost    = 24 * time.Hour
	ReviewDefault = 7 * 24 * time.Hour
	ReviewMost    = 90 * 24 * time.Hour
)

// Do carries out a person's command on the alarm and appends the event: what
// happened, or Refused with the reason in plain words.
func (m *Machine) Do(d *Definition, now *Moment, cmd *drivers.Command, out []Event) []Event {
	from := m.State
	kind, length, refusal := m.obey(d, cmd)
	m.still = m.still && refusal != ""
	var e Event
	switch {
	case refusal != "":
		e = m.event(d, now, Refused, from)
		e.Refusal = refusal
	case kind == Unshelved || kind == ReturnedToService:
		e = m.leave(d, now, kind)
	default:
		e = m.event(d, now, kind, from)
		m.signMark(kind, cmd.User)
	}
	if length > 0 {
		e.Duration = length
		if now.At.Synchronized {
			e.Until = now.At.Wall.Add(length)
		}
	}
	e.User, e.Comment, e.CommandID = cmd.User, cmd.Comment, cmd.ID
	return append(out, e)
}

// signMark remembers who set a mark.
func (m *Machine) signMark(kind Kind, user string) {
	switch kind {
	case Shelved:
		m.ShelvedBy = user
	case RemovedFromService:
		m.RemovedBy = user
	}
}

// obey changes m as the command wants, or gives the reason why not. length is
// how long a mark shall last.
func (m *Machine) obey(d *Definition, cmd *drivers.Command) (kind Kind, length time.Duration, refusal string) {
	if cmd.User == "" {
		return Refused, 0, "a change needs the name of the person who makes it"
	}
	switch cmd.Verb {
	case drivers.Acknowledge:
		return AcknowledgedBy, 0, m.acknowledge(d)
	case drivers.Reset:
		return ResetBy, 0, m.reset(d)
	case drivers.Shelve:
		length, refusal = m.shelve(d, cmd.For)
		return Shelved, length, refusal
	case drivers.Unshelve:
		if m.ShelvedFor == 0 {
			return Refused, 0, d.Name + " is not shelved"
		}
		m.ShelvedFor = 0
		return Unshelved, 0, ""
	case drivers.Remove:
		length, refusal = m.remove(d, cmd.For)
		return RemovedFromService, length, refusal
	case drivers.Return:
		if !m.Removed {
			return Refused, 0, d.Name + " is not out of service"
		}
		m.Removed, m.ReviewIn = false, 0
		return ReturnedToService, 0, ""
	}
	return Refused, 0, fmt.Sprintf("%q is no command for an alarm; use acknowledge, reset, shelve, unshelve, remove or return", cmd.Verb)
}

func (m *Machine) acknowledge(d *Definition) (refusal string) {
	switch m.State {
	case Unacknowledged:
		m.State, m.Waited, m.Waiting = Acknowledged, 0, waiting{}
	case ReturnedUnacknowledged:
		m.State = Normal
	case LatchedUnacknowledged:
		m.State = LatchedAcknowledged
	case Normal:
		return d.Name + " is normal: there is nothing to acknowledge"
	default:
		return d.Name + " is already acknowledged"
	}
	return ""
}

func (m *Machine) reset(d *Definition) (refusal string) {
	switch {
	case m.State == LatchedAcknowledged:
		m.State = Normal
		return ""
	case m.State == LatchedUnacknowledged:
		return d.Name + " must be acknowledged before it can be reset"
	case m.State.Active():
		return d.Name + " cannot be reset while its cause is still there"
	case !d.Latching:
		return d.Name + " does not latch: there is nothing to reset"
	}
	return d.Name + " is normal: there is nothing to reset"
}

func (m *Machine) shelve(d *Definition, length time.Duration) (time.Duration, string) {
	if length == 0 {
		length = ShelveDefault
	}
	switch {
	case m.ShelvedFor > 0:
		return 0, fmt.Sprintf("%s is already shelved for another %s; unshelve it first", d.Name, Span(m.ShelvedFor))
	case length < 0:
		return 0, "a time to shelve must be above zero"
	case length > ShelveMost:
		return 0, fmt.Sprintf("%s is too long to shelve an alarm; %s is the most, for longer take it out of service", Span(length), Span(ShelveMost))
	}
	m.ShelvedFor = length
	return length, ""
}

func (m *Machine) remove(d *Definition, length time.Duration) (time.Duration, string) {
	if length == 0 {
		length = ReviewDefault
	}
	switch {
	case m.Removed:
		return 0, d.Name + " is already out of service"
	case length < 0:
		return 0, "a time until review must be above zero"
	case length > ReviewMost:
		return 0, fmt.Sprintf("%s is too long without a review; %s is the most", Span(length), Span(ReviewMost))
	}
	m.Removed, m.ReviewIn = true, length
	return length, ""
}
