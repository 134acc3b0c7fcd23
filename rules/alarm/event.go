package alarm

import (
	"time"

	"pumpside/drivers"
	"pumpside/drivers/quantity"
)

// A Quantity is a number with what is needed to write its unit.
type Quantity struct {
	Value     float64            `json:"value"` // in the base unit of Dimension
	Dimension quantity.Dimension `json:"dimension"`
}

// An Evidence is one fact that speaks for an alarm: a key of the catalogue's
// evidence table and its number.
type Evidence struct {
	Key string `json:"key"`
	Quantity
}

// A Cause is one explanation with its probability (0..1). Cylinder is 1 for
// the cylinder the installer numbered one; 0 when it is not determinable or
// does not apply.
type Cause struct {
	Cause       string  `json:"cause"`
	Cylinder    int     `json:"cylinder"`
	Probability float64 `json:"probability"`
}

// An Event is the facts of one journal entry, in the order of Seq. It holds no
// sentences: those come from the [Catalogue] when it is shown or sent, save
// for what a person wrote (Comment) and the reason of a refusal.
type Event struct {
	Seq        uint64          `json:"seq"` // counts per pump, and for the site, from 1
	Kind       Kind            `json:"event"`
	At         drivers.Instant `json:"at"`
	Alarm      string          `json:"alarm,omitempty"`      // the definition's name; for Recorded the name of the record
	Text       string          `json:"text,omitempty"`       // its key in the catalogue
	Occurrence uint64          `json:"occurrence,omitempty"` // counts the raises of this alarm, from 1
	Class      Class           `json:"class"`
	Priority   Priority        `json:"priority"`
	Responder  Responder       `json:"responder"`
	Notify     Notify          `json:"notify"` // when the responder is told of this event; Never for what asks nothing of a person
	State      State           `json:"state"`
	Previous   State           `json:"previous_state"`
	RaisedAt   drivers.Instant `json:"raised_at,omitzero"`

	ShelvedNow    bool          `json:"shelved,omitempty"` // marks that stand after the event
	RemovedNow    bool          `json:"out_of_service,omitempty"`
	SuppressedBy  Logic         `json:"suppressed_by,omitempty"`
	Withheld      bool          `json:"withheld,omitempty"`        // not announced: a summary speaks for it
	CarriedBy     string        `json:"carried_by,omitempty"`      // the alarm that called for this one too: told in its words, with no call of its own
	TimeToRespond time.Duration `json:"time_to_respond,omitempty"` // until the consequence, counted from the raise
	Escalation    int           `json:"escalation,omitempty"`      // of Escalated: its level, from 1
	Unanswered    time.Duration `json:"unanswered,omitempty"`      // of Escalated: nobody has acknowledged for so long
	EscalateIn    time.Duration `json:"escalate_in,omitempty"`     // the next escalation, when nobody acknowledges; 0: there is none

	Signal   drivers.Signal  `json:"signal,omitempty"`
	Subject  string          `json:"subject,omitempty"` // what it is about when not a signal: a task, a device, a bus, an auxiliary signal
	Group    string          `json:"group,omitempty"`   // the group of pumps it is about
	Value    *Quantity       `json:"value,omitempty"`
	Limit    *Quantity       `json:"limit,omitempty"`
	Duration time.Duration   `json:"duration,omitempty"` // how long the condition has held; of a mark, how long it shall last
	DataAge  time.Duration   `json:"data_age,omitempty"`
	Quality  drivers.Quality `json:"quality"`
	Reason   drivers.Reason  `json:"reason,omitempty"`
	Evidence []Evidence      `json:"evidence,omitempty"`
	Causes   []Cause         `json:"causes,omitempty"`

	PumpRunning      Known         `json:"pump_running"`
	Standby          string        `json:"standby_state,omitempty"`
	GasFlowing       Known         `json:"gas_flowing"`
	DriveFaultCode   int           `json:"drive_fault_code,omitempty"`
	LastService      string        `json:"last_service,omitempty"`       // the task last recorded
	LastServiceBy    string        `json:"last_service_by,omitempty"`    // by whom
	SinceLastService time.Duration `json:"since_last_service,omitempty"` // run time since then

	User      string                 `json:"user,omitempty"`
	Comment   string                 `json:"comment,omitempty"`
	CommandID string                 `json:"command_id,omitempty"`
	Refusal   string                 `json:"refusal,omitempty"` // why a command was refused, in plain words
	Until     time.Time              `json:"until,omitzero"`    // shelved until, or review date; zero while the clock is not synchronised
	Service   *drivers.ServiceRecord `json:"service,omitempty"` // of ServiceRecorded: the line for the ledger
	Alarms    []string               `json:"alarms,omitempty"`  // of a summary: the alarms it speaks for, worst first; of a group's call: the pumps' it speaks for, as PUMP/ALARM
}
