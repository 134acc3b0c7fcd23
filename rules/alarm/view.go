package alarm

import (
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
	State        State           `json:"state"`
	RaisedAt     drivers.Instant `json:"raised_at,omitzero"`
	Occurrence   uint64          `json:"occurrence"`
	SuppressedBy string          `json:"suppressed_by,omitempty"` // conditions of operation, by name
	Shelved      time.Duration   `json:"shelved,omitempty"`       // for how much longer
	Removed      bool            `json:"out_of_service,omitempty"`
	ReviewIn     time.Duration   `json:"review_in,omitempty"`
	Last         *Event          `json:"last,omitempty"` // its newest transition; nil when it never had one
}

// View gives where the alarm of d stands; last is its newest transition.
func (m *Machine) View(d *Definition, last *Event) View {
	return View{
		Name: d.Name, Text: d.text(m.Level), Class: d.Class, Priority: d.priority(m.Level), Responder: d.Responder,
		State: m.State, RaisedAt: m.RaisedAt, Occurrence: m.Occurrence,
		SuppressedBy: m.Suppressed.String(), Shelved: m.ShelvedFor, Removed: m.Removed, ReviewIn: m.ReviewIn, Last: last,
	}
}
