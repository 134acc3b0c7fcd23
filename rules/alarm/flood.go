package alarm

import (
	"slices"
	"time"
)

// A board announces at most floodLimit alarms within floodWindow one by one.
const (
	floodLimit  = 6
	floodWindow = time.Hour
)

// FloodText is the catalogue key of a summary.
const FloodText = "alarm_flood"

// A Flood keeps one pump from calling its people without end. Beyond six
// announcements an hour a summary speaks for the others: one when the limit is
// passed, one more for each alarm of high priority that none has named yet,
// and one at the end if anything was withheld after the last. What waits for
// the next working day calls nobody: it takes no place and is not withheld.
type Flood struct {
	Left     [floodLimit]time.Duration `json:"left,omitzero"` // what is left of the hour of each announcement
	Active   bool                      `json:"active,omitzero"`
	Withheld int                       `json:"withheld,omitzero"` // since the last summary
}

func (f *Flood) pass(now *Moment) {
	if now.Lost {
		f.Left = [floodLimit]time.Duration{}
		return
	}
	for i := range f.Left {
		f.Left[i] = max(f.Left[i]-now.Elapsed, 0)
	}
}

// Full reports whether the next announcement would be withheld.
func (f *Flood) Full() bool { return f.Active || !f.hasPlace() }

func (f *Flood) idle() bool { return !f.Active && f.Left == [floodLimit]time.Duration{} }

// take uses a free place for an announcement, if there is one.
func (f *Flood) take() bool {
	for i := range f.Left {
		if f.Left[i] == 0 {
			f.Left[i] = floodWindow
			return true
		}
	}
	return false
}

// withhold takes the announcement off e and reports whether a summary is due.
// named tells whether a summary of this flood has spoken of the alarm.
func (f *Flood) withhold(e *Event, named bool) bool {
	first := !f.Active
	f.Active = true
	f.Withheld++
	e.Notify, e.Withheld = Never, true
	return first || e.Priority == High && !named
}

// pass lets time go by; a flood is over when an announcement has left the hour.
func (b *Memory) pass(defs []Definition, now *Moment, out []Event) []Event {
	f := &b.Flood
	f.pass(now)
	if !f.Active || !f.hasPlace() {
		return out
	}
	if f.Withheld > 0 {
		f.take()
		out = append(out, b.summary(defs, now))
	}
	b.endFlood()
	return out
}

// limit passes the announcements among out[from:] through the flood limit and
// appends a summary where one is due.
func (b *Memory) limit(defs []Definition, now *Moment, out []Event, from int) []Event {
	f, due := &b.Flood, false
	for i := from; i < len(out); i++ {
		e := &out[i]
		if e.Notify != Now || e.Kind == Summary || e.Kind == Escalated || !f.Active && f.take() {
			continue // an escalation goes to somebody the flood has not reached
		}
		m := b.machine(e.Alarm)
		due = f.withhold(e, m.Named) || due
		if m.Waiting.Quiet = e.Priority != High; m.Waiting.Quiet {
			e.EscalateIn = 0 // the summary calls
		}
	}
	if due {
		out = append(out, b.summary(defs, now))
	}
	return out
}

func (f *Flood) hasPlace() bool {
	for _, left := range f.Left {
		if left == 0 {
			return true
		}
	}
	return false
}

// machine finds the alarm of an event of this board.
func (b *Memory) machine(name string) *Machine {
	i := slices.IndexFunc(b.Alarms, func(m Machine) bool { return m.Name == name })
	return &b.Alarms[i]
}

func (b *Memory) endFlood() {
	b.Flood.Active = false
	for i := range b.Alarms {
		m := &b.Alarms[i]
		m.Named = false
		if m.Waiting.Quiet {
			m.Waiting, m.still = waiting{}, false // no summary speaks for it any more: it waits like the others from now
		}
	}
}

// summary speaks for every alarm a person has yet to see, and says how many
// announcements were withheld since the last one.
func (b *Memory) summary(defs []Definition, now *Moment) Event {
	e := Event{
		Kind: Summary, At: now.At, Alarm: FloodText, Text: FloodText, Class: Alarm, Notify: Now,
		Responder: Automation,
		Evidence:  []Evidence{{Key: "withheld_notices", Quantity: Quantity{Value: float64(b.Flood.Withheld)}}},
	}
	for p := High; ; p-- {
		for i := range b.Alarms {
			m, d := &b.Alarms[i], &defs[i]
			if !m.State.NeedsAcknowledge() || m.marked() || d.Notify == Never || d.priority(m.Level) != p {
				continue
			}
			m.Named = true
			e.Alarms = append(e.Alarms, d.Name)
			e.Priority = max(e.Priority, p)
			if m.State.Active() {
				e.Responder = max(e.Responder, d.Responder)
				e.TimeToRespond = shorter(e.TimeToRespond, d.TimeToRespond)
			}
		}
		if p == Low {
			break
		}
	}
	b.Flood.Withheld = 0
	return e
}

func shorter(a, b time.Duration) time.Duration {
	if a == 0 || b != 0 && b < a {
		return b
	}
	return a
}
