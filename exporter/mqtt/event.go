package mqtt

import (
	"fmt"

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

	State         string  `json:"state"`
	PreviousState string  `json:"previous_state"`
	RaisedAt      *string `json:"raised_at"`
	ChangedAt     *string `json:"changed_at"`
	Stored        bool    `json:"stored"` // false: sent although the store could not keep it

	Group       *string  `json:"group"`
	Tag         *string  `json:"tag"`
	Location    *string  `json:"location"`
	SiteHazards []string `json:"site_hazards"`

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

	Evidence       []string       `json:"evidence"`
	Causes         []CausePayload `json:"causes"` // likeliest first
	Consequence    *string        `json:"consequence"`
	Actions        []string       `json:"actions"`
	Safety         *string        `json:"safety"`
	TimeToRespondS *float64       `json:"time_to_respond_s"`
	Parts          []string       `json:"parts"`
	NotKnown       *string        `json:"not_known"`

	User           *string `json:"user"` // whose request it was
	AcknowledgedBy *string `json:"acknowledged_by"`
	Comment        *string `json:"comment"`
	CommandID      *string `json:"command_id"`
	Until          *string `json:"until"` // end of shelving, or the review date
}

// A CausePayload is one explanation.
type CausePayload struct {
	Cause       string   `json:"cause"`
	Cylinder    *int     `json:"cylinder"`    // 1 is the one the installer numbered one; null when it cannot be told
	Probability *float64 `json:"probability"` // 0 to 1
}

func (p *Publisher) eventPayload(e Entry) []byte {
	ev, pump, t := e.Event, p.Site.pump(e.Pump), p.Texts(e)
	value, unit := magnitude(ev.Value)
	limit, limitUnit := magnitude(ev.Limit)
	if unit == nil {
		unit = limitUnit
	}
	return encode(EventPayload{
		Origin: p.origin("event", e.StreamID, e.Pump, ev.At),
		Seq:    ev.Seq, OccurrenceID: occurrenceID(e), Event: ev.Kind.String(), Alarm: text(ev.Alarm),
		Class: ev.Class.String(), Priority: ev.Priority.String(), Responder: ev.Responder.String(), Notify: ev.Notify.String(),
		Headline: t.Headline,
		State:    ev.State.String(), PreviousState: ev.Previous.String(), RaisedAt: moment(ev.RaisedAt), ChangedAt: moment(ev.At), Stored: e.Stored,
		Group: text(pump.Group), Tag: text(pump.Tag), Location: text(p.place(pump)), SiteHazards: list(p.Site.Hazards),
		Signal: text(ev.Signal.String()), Subject: text(ev.Subject), Value: value, Limit: limit, Unit: unit,
		DurationS: seconds(ev.Duration), DataAgeS: ev.DataAge.Seconds(), Quality: ev.Quality.String(), QualityReason: text(ev.Reason.String()),
		PumpRunning: answer(ev.PumpRunning), StandbyState: text(ev.Standby), GasFlowing: answer(ev.GasFlowing),
		DriveFaultText: text(t.DriveFault), SinceLastService: text(t.SinceLastService),
		Evidence: list(t.Evidence), Causes: causes(ev.Causes), Consequence: text(t.Consequence),
		Actions: list(t.Actions), Safety: text(t.Safety), TimeToRespondS: seconds(t.TimeToRespond), Parts: list(t.Parts), NotKnown: text(t.NotKnown),
		User: text(ev.User), AcknowledgedBy: acknowledgedBy(ev), Comment: text(ev.Comment), CommandID: text(ev.CommandID), Until: stamp(ev.Until),
	})
}

// occurrenceID joins what belongs together from raise to return, over the
// whole fleet; nil for what is no alarm's.
func occurrenceID(e Entry) *string {
	if e.Event.Occurrence == 0 {
		return nil
	}
	return text(fmt.Sprintf("%s/%s/%s/%d", e.StreamID, e.Pump, e.Event.Alarm, e.Event.Occurrence))
}

func acknowledgedBy(ev alarm.Event) *string {
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

// place is where to go: the site's location and the pump's on it.
func (p *Publisher) place(pump Pump) string {
	if p.Site.Location == "" || pump.Location == "" {
		return p.Site.Location + pump.Location
	}
	return p.Site.Location + ", " + pump.Location
}
