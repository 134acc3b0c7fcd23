package mqtt

import (
	"fmt"
	"strings"

	"pumpside/rules/alarm"
)

// An EventPayload is one journal entry: an alarm's transition, a finding, a
// service entry, a refused command.
type EventPayload struct {
	Origin
	Seq          uint64  `json:"seq"`           // counts per pump, and for the site, within stream_id
	OccurrenceID *string `json:"occurrence_id"` // the same from raise to return
	Event        string  `json:"event"`
	Alarm        *string `json:"alarm"`
	Class        string  `json:"class"`
	Priority     string  `json:"priority"`
	Responder    string  `json:"responder"`
	Notify       string  `json:"notify"`
	Headline     string  `json:"headline"`

	Call           *string  `json:"call"`             // who is on call now, by the site's rota
	QuietHours     bool     `json:"quiet_hours"`      // the site's; nothing is silenced by them
	EscalateTo     *string  `json:"escalate_to"`      // who is called when nobody acknowledges this
	EscalateAfterS *float64 `json:"escalate_after_s"` // for so long; null: it is not escalated (any more)
	Escalation     *int     `json:"escalation"`       // of an escalation: its level, from 1

	State         string  `json:"state"`
	PreviousState string  `json:"previous_state"`
	RaisedAt      *string `json:"raised_at"`
	ChangedAt     *string `json:"changed_at"`
	Stored        bool    `json:"stored"` // false: sent although the store could not keep it

	Shelved      bool    `json:"shelved"` // marks that stand after the event
	OutOfService bool    `json:"out_of_service"`
	SuppressedBy *string `json:"suppressed_by"` // conditions of operation, parted by commas
	Withheld     bool    `json:"withheld"`      // nobody is told of it by itself: a summary speaks for it
	CarriedBy    *string `json:"carried_by"`    // the alarm that called for this one too

	Group       *string `json:"group"`
	Tag         *string `json:"tag"`
	Location    *string `json:"location"`
	SiteHazards *string `json:"site_hazards"`

	Signal        *string  `json:"signal"`
	Subject       *string  `json:"subject"` // what it is about when not a signal: a task, a device, a bus
	Value         *float64 `json:"value"`
	Limit         *float64 `json:"limit"`
	Unit          *string  `json:"unit"` // of value and limit
	DurationS     *float64 `json:"duration_s"`
	DataAgeS      float64  `json:"data_age_s"`
	Quality       string   `json:"quality"`
	QualityReason *string  `json:"quality_reason"`

	PumpRunning      *bool   `json:"pump_running"`
	StandbyState     *string `json:"standby_state"`
	GasFlowing       *bool   `json:"gas_flowing"`
	DriveFaultText   *string `json:"drive_fault_text"`
	SinceLastService *string `json:"since_last_service"`

	Evidence       []string        `json:"evidence"`
	Cause          *string         `json:"cause"`  // in a sentence
	Causes         []CausePayload  `json:"causes"` // likeliest first
	Consequence    *string         `json:"consequence"`
	Actions        []ActionPayload `json:"actions"` // in order; the safety text stands where it must be read
	Safety         *string         `json:"safety"`  // the same text again; null when no action touches equipment
	TimeToRespondS *float64        `json:"time_to_respond_s"`
	Parts          []string        `json:"parts"`
	NotKnown       *string         `json:"not_known"`
	Alarms         []string        `json:"alarms"` // those it speaks for: of a summary worst first, of a group's call those of its pumps

	User           *string `json:"user"` // whose request it was
	AcknowledgedBy *string `json:"acknowledged_by"`
	Comment        *string `json:"comment"`
	CommandID      *string `json:"command_id"`
	Refusal        *string `json:"refusal"` // why that request was refused
	Until          *string `json:"until"`   // end of shelving, or the review date

	Service *RecordPayload `json:"service"` // of a service record: the whole line of the ledger; null for all else
}

// A CausePayload is one explanation.
type CausePayload struct {
	Cause       string   `json:"cause"`
	Cylinder    *int     `json:"cylinder"`    // 1 is the one the installer numbered one; null when it cannot be told
	Probability *float64 `json:"probability"` // 0 to 1
}

// An ActionPayload is one thing to do, or the safety text in its place.
type ActionPayload struct {
	Text  string `json:"text"`
	Hands string `json:"hands"` // off: by looking; safety: read this first; on: opens or touches equipment
}

func (p *Publisher) eventPayload(e Entry) []byte {
	ev := &e.Event
	place := p.Names(e.Pump, ev)
	m := alarm.Render(*ev, place)
	value, unit := magnitude(ev.Value)
	limit, limitUnit := magnitude(ev.Limit)
	if unit == nil {
		unit = limitUnit
	}
	return encode(EventPayload{
		Origin: p.origin("event", e.Pump, ev.At),
		Seq:    ev.Seq, OccurrenceID: p.occurrenceID(e), Event: ev.Kind.String(), Alarm: text(ev.Alarm),
		Class: ev.Class.String(), Priority: ev.Priority.String(), Responder: ev.Responder.String(), Notify: ev.Notify.String(),
		Headline: m.Headline,

		Call: text(place.Route.Call), QuietHours: place.Route.Quiet, EscalateTo: text(place.Route.EscalateTo), EscalateAfterS: seconds(place.Route.EscalateAfter), Escalation: level(ev.Escalation),

		State: ev.State.String(), PreviousState: ev.Previous.String(), RaisedAt: moment(ev.RaisedAt), ChangedAt: moment(ev.At), Stored: e.Stored,
		Shelved: ev.ShelvedNow, OutOfService: ev.RemovedNow, SuppressedBy: text(ev.SuppressedBy.String()), Withheld: ev.Withheld, CarriedBy: text(ev.CarriedBy),

		Group: text(place.Group), Tag: text(place.Tag), Location: text(place.Location), SiteHazards: text(place.Hazards),

		Signal: text(ev.Signal.String()), Subject: text(ev.Subject), Value: value, Limit: limit, Unit: unit,
		DurationS: seconds(ev.Duration), DataAgeS: ev.DataAge.Seconds(), Quality: ev.Quality.String(), QualityReason: text(ev.Reason.String()),

		PumpRunning: answer(ev.PumpRunning), StandbyState: text(ev.Standby), GasFlowing: answer(ev.GasFlowing),
		DriveFaultText: text(m.DriveFault), SinceLastService: text(m.LastService),

		Evidence: list(m.Evidence), Cause: text(m.Cause), Causes: causes(ev.Causes), Consequence: text(m.Consequence),
		Actions: actions(m.Actions), Safety: text(m.Safety), TimeToRespondS: seconds(ev.TimeToRespond), Parts: list(m.Parts),
		NotKnown: text(strings.Join(m.NotKnown, " ")), Alarms: list(ev.Alarms),

		User: text(ev.User), AcknowledgedBy: acknowledgedBy(ev), Comment: text(ev.Comment),
		CommandID: text(ev.CommandID), Refusal: text(ev.Refusal), Until: stamp(ev.Until),

		Service: recordPayload(ev.Service),
	})
}

// headline is the first line of an entry.
func (p *Publisher) headline(e Entry) string {
	return alarm.Render(e.Event, p.Names(e.Pump, &e.Event)).Headline
}

// tag is what stands on the plate of a pump; nil for none.
func (p *Publisher) tag(pump string) *string { return text(p.Names(pump, new(alarm.Event)).Tag) }

// occurrenceID joins what belongs together from raise to return, over the
// whole fleet; nil for what is no alarm's.
func (p *Publisher) occurrenceID(e Entry) *string {
	if e.Event.Occurrence == 0 {
		return nil
	}
	return text(fmt.Sprintf("%s/%s/%s/%d", p.Site.StreamID, e.Pump, e.Event.Alarm, e.Event.Occurrence))
}

// level is nil for what is no escalation.
func level(n int) *int {
	if n == 0 {
		return nil
	}
	return &n
}

func acknowledgedBy(ev *alarm.Event) *string {
	if ev.Kind != alarm.AcknowledgedBy {
		return nil
	}
	return text(ev.User)
}

func causes(all []alarm.Cause) []CausePayload {
	out := make([]CausePayload, len(all))
	for i, c := range all {
		out[i] = CausePayload{Cause: c.Cause, Probability: number(c.Probability)}
		if c.Cylinder > 0 {
			out[i].Cylinder = &c.Cylinder
		}
	}
	return out
}

func actions(all []alarm.Action) []ActionPayload {
	out := make([]ActionPayload, len(all))
	for i, a := range all {
		out[i] = ActionPayload{Text: a.Text, Hands: a.Hands.String()}
	}
	return out
}
