package alarm

import "time"

// An announcement that calls somebody at once and that nobody acknowledges is
// escalated: told again, to the next person, once at each of escalationLevels.
// What is escalated is the waiting, so that a condition nobody can judge any
// more, or one that latched, escalates like one that holds; an acknowledgement
// ends it, and so does the return to normal and every mark.
const escalationLevels = 2

// EscalateAfterDefault is how long an announcement waits for each level where a
// site says nothing (common practice, no source).
const EscalateAfterDefault = 15 * time.Minute

// Escalated gives d with the time after which it is escalated: after, 0 for the
// default, and never more than half the time there is to respond, so that the
// last level comes before the consequence. What calls nobody at once is never
// escalated.
func (d Definition) Escalated(after time.Duration) Definition {
	d.EscalateAfter = 0
	if d.Class != Alarm || d.Notify != Now {
		return d
	}
	if after <= 0 {
		after = EscalateAfterDefault
	}
	d.EscalateAfter = min(after, d.TimeToRespond/escalationLevels)
	return d
}

// A waiting is an announcement that nobody has acknowledged.
type waiting struct {
	For   time.Duration `json:"for,omitzero"`   // so long
	Level int           `json:"level,omitzero"` // escalations so far
	Quiet bool          `json:"quiet,omitzero"` // nobody was called by it: a summary speaks for it
}

// waits reports whether m is an announcement that may be escalated yet.
func (m *Machine) waits(d *Definition) bool {
	open := m.State == Unacknowledged || m.State == LatchedUnacknowledged
	return open && d.EscalateAfter > 0 && !m.marked() && m.Carry.By == "" && !m.Waiting.Quiet && m.Waiting.Level < escalationLevels
}

// escalateAfter is how long m waits for each level: what its call speaks for
// may leave less time than the definition.
func (m *Machine) escalateAfter(d *Definition) time.Duration {
	if m.Respond > 0 {
		return min(d.EscalateAfter, m.Respond/escalationLevels)
	}
	return d.EscalateAfter
}

// wait lets time go by over an announcement. Time in which the agent was away
// counts where it is known: nobody has acknowledged in it either.
func (m *Machine) wait(d *Definition, now *Moment) {
	if m.waits(d) {
		m.Waiting.For += now.Elapsed
	}
}

// escalate calls the next person when a level is reached. Levels that were
// missed together are one event of the highest.
func (m *Machine) escalate(d *Definition, now *Moment, c *Condition, out []Event) []Event {
	if !m.waits(d) {
		return out
	}
	level := min(int(m.Waiting.For/m.escalateAfter(d)), escalationLevels)
	if level <= m.Waiting.Level {
		return out
	}
	m.Waiting.Level = level
	e := m.announce(d, now, c, Escalated, m.State)
	e.Escalation, e.Unanswered = level, m.Waiting.For
	return append(out, e)
}
