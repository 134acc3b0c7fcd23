package alarm

import (
	"slices"
	"time"

	"pumpside/drivers"
)

// A View is where one alarm stands, for those who look.
type View struct {
	Name         string          `json:"alarm"`
	Text         string          `json:"text"` // key in the catalogue
	Class        Class           `json:"class"`
	Priority     Priority        `json:"priority"`
	Responder    Responder       `json:"responder"`
	Notify       Notify          `json:"notify"`               // when the responder is told of a raise
	CarriedBy    string          `json:"carried_by,omitempty"` // the alarm that has called for this one too
	State        State           `json:"state"`
	RaisedAt     drivers.Instant `json:"raised_at,omitzero"`
	ChangedAt    drivers.Instant `json:"changed_at,omitzero"` // of its newest transition
	Occurrence   uint64          `json:"occurrence"`
	SuppressedBy string          `json:"suppressed_by,omitempty"` // conditions of operation, by name
	Shelved      bool            `json:"shelved,omitempty"`
	ShelvedBy    string          `json:"shelved_by,omitempty"`
	ShelvedUntil time.Time       `json:"shelved_until,omitzero"` // zero while the clock is not synchronised
	ShelvedLeft  time.Duration   `json:"shelved_left,omitempty"`
	Removed      bool            `json:"out_of_service,omitempty"`
	RemovedBy    string          `json:"removed_by,omitempty"`
	ReviewAt     time.Time       `json:"review_at,omitzero"` // zero while the clock is not synchronised
	ReviewLeft   time.Duration   `json:"review_left,omitempty"`
	Last         *Event          `json:"last,omitempty"` // its newest transition; nil when it never had one
}

// View gives where the alarm of d stands at the moment now; last is its newest
// transition.
func (m *Machine) View(d *Definition, now drivers.Instant, last *Event) View {
	v := View{
		Name: d.Name, Text: d.text(m.Level), Class: d.Class, Priority: d.priority(m.Level), Responder: d.Responder, Notify: d.Notify,
		State: m.State, RaisedAt: m.RaisedAt, Occurrence: m.Occurrence, SuppressedBy: m.Suppressed.String(), Last: last,
	}
	if last != nil {
		v.ChangedAt = last.At
		if m.State != Normal && serviceStage(last.Text) == serviceStage(v.Text) {
			v.Text = last.Text
		}
	}
	if m.Carry.By != "" {
		v.CarriedBy, v.Notify = m.Carry.By, min(v.Notify, NextWorkingDay)
	}
	if m.ShelvedFor > 0 {
		v.Shelved, v.ShelvedBy, v.ShelvedUntil, v.ShelvedLeft = true, m.ShelvedBy, wallAfter(now, m.ShelvedFor), m.ShelvedFor
	}
	if m.Removed {
		v.Removed, v.RemovedBy, v.ReviewAt, v.ReviewLeft = true, m.RemovedBy, wallAfter(now, m.ReviewIn), m.ReviewIn
	}
	return v
}

var callKinds = []Kind{Raised, Worsened, Eased, Reminded, Escalated}

// Call gives the newest event of an alarm as the call for a person it once was,
// whatever was done about it since; nil when there is none. Numbers of an event
// that is no such call are left out: they do not speak for it. An alarm that has
// cleared and waits only to be seen calls for nobody: it is told as cleared.
func (v *View) Call() *Event {
	if v.Last == nil {
		return nil
	}
	e := *v.Last
	switch {
	case e.Kind == Cleared && v.State == ReturnedUnacknowledged:
		return &e
	case !slices.Contains(callKinds, e.Kind):
		e.Value, e.Evidence, e.Duration, e.DataAge = nil, nil, 0, 0
	}
	if v.State == ReturnedUnacknowledged {
		e.Kind = Cleared
		return &e
	}
	e.Kind, e.State = Raised, Unacknowledged
	e.ShelvedNow, e.RemovedNow, e.SuppressedBy = false, false, 0
	return &e
}

func wallAfter(now drivers.Instant, d time.Duration) time.Time {
	if !now.Synchronized {
		return time.Time{}
	}
	return now.Wall.Add(d)
}
