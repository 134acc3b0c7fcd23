package alarm

import (
	"fmt"

	"pumpside/drivers"
)

// A Memory is what all alarms of one board (a pump, a group, the site)
// remember: plain values to store and to copy. Alarms stands in the order of
// the definitions after [Memory.Fit].
type Memory struct {
	Clock  Clock     `json:"clock,omitzero"`
	Flood  Flood     `json:"flood,omitzero"`
	Alarms []Machine `json:"alarms"`
}

// Fit brings a stored memory into the order of defs. An alarm the memory does
// not know starts at normal; the names of those that have no definition any
// more come back for the journal. It must be called once before Step.
func (b *Memory) Fit(defs []Definition) (vanished []string) {
	stored := make(map[string]Machine, len(b.Alarms))
	order := b.Alarms
	for _, m := range order {
		stored[m.Name] = m
	}
	b.Alarms = make([]Machine, len(defs))
	for i := range defs {
		m := stored[defs[i].Name]
		delete(stored, defs[i].Name)
		m.mend(&defs[i])
		b.Alarms[i] = m
	}
	for _, m := range order {
		if _, left := stored[m.Name]; left {
			vanished = append(vanished, m.Name)
			delete(stored, m.Name)
		}
	}
	return vanished
}

// mend makes m a machine that its definition allows, whatever was stored.
func (m *Machine) mend(d *Definition) {
	m.Name = d.Name
	m.Level, m.Judged = min(m.Level, FarBeyond), min(m.Judged, FarBeyond)
	m.Suppressed &= d.SuppressedBy | StartUp
	switch {
	case m.State > LatchedAcknowledged:
		m.State = Normal
	case !d.Latching && m.State == LatchedUnacknowledged:
		m.State = ReturnedUnacknowledged
	case !d.Latching && m.State == LatchedAcknowledged:
		m.State = Normal
	}
	switch {
	case !m.State.Active():
		m.Level = Clear
	case m.Level == Clear:
		m.Level = Beyond
	}
	m.ShelvedFor = min(max(m.ShelvedFor, 0), ShelveMost)
	m.ReviewIn = min(max(m.ReviewIn, 0), ReviewMost)
	m.Waiting.For, m.Waiting.Level = max(m.Waiting.For, 0), min(max(m.Waiting.Level, 0), escalationLevels)
	m.still = false
}

// Step moves every alarm to the moment now; conditions[i] belongs to defs[i].
// What happened is appended to out, with Seq and the pump's circumstances
// still to be filled in. It allocates only when something happens.
func (b *Memory) Step(defs []Definition, now *Moment, conditions []Condition, out []Event) []Event {
	from := len(out)
	for i := range defs {
		out = b.Alarms[i].Step(&defs[i], now, &conditions[i], out)
	}
	if !b.Flood.idle() || len(out) > from {
		out = b.pass(defs, now, out)
		out = b.limit(defs, now, out, from)
	}
	return out
}

// Do carries out a person's command and appends its one event, plus a summary
// if the command set off the flood limit.
func (b *Memory) Do(defs []Definition, now *Moment, cmd *drivers.Command, out []Event) []Event {
	from := len(out)
	for i := range defs {
		if defs[i].Name == cmd.Alarm {
			return b.limit(defs, now, b.Alarms[i].Do(&defs[i], now, cmd, out), from)
		}
	}
	return append(out, Event{
		Kind: Refused, At: now.At, Alarm: cmd.Alarm, Class: Record, User: cmd.User, Comment: cmd.Comment, CommandID: cmd.ID,
		Refusal: fmt.Sprintf("there is no alarm %q here; \"alarms list --all\" shows the names", cmd.Alarm),
	})
}
