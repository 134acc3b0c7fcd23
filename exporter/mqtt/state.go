package mqtt

import "pumpside/rules/alarm"

// An AlarmPayload is how one alarm stands; retained.
type AlarmPayload struct {
	Origin
	Seq          *uint64  `json:"seq"` // of its newest event; null when it never had one
	OccurrenceID *string  `json:"occurrence_id"`
	Alarm        string   `json:"alarm"`
	Class        string   `json:"class"`
	Priority     string   `json:"priority"`
	Responder    string   `json:"responder"`
	Notify       *string  `json:"notify"`
	CarriedBy    *string  `json:"carried_by"` // the alarm that calls for this one too
	Headline     *string  `json:"headline"`
	State        string   `json:"state"`
	RaisedAt     *string  `json:"raised_at"`
	ChangedAt    *string  `json:"changed_at"`
	Value        *float64 `json:"value"` // at its newest event
	Limit        *float64 `json:"limit"`
	Unit         *string  `json:"unit"`
	SuppressedBy *string  `json:"suppressed_by"`
	Shelved      bool     `json:"shelved"`
	ShelvedBy    *string  `json:"shelved_by"`
	ShelvedUntil *string  `json:"shelved_until"`
	OutOfService bool     `json:"out_of_service"`
	RemovedBy    *string  `json:"removed_by"` // from service
	ReviewAt     *string  `json:"review_at"`
	Tag          *string  `json:"tag"`
}

func (p *Publisher) alarmPayload(pump string, a *alarm.View) []byte {
	payload := AlarmPayload{
		Origin: p.origin("alarm", pump, a.ChangedAt),
		Alarm:  a.Name, Class: a.Class.String(), Priority: a.Priority.String(),
		State: a.State.String(), RaisedAt: moment(a.RaisedAt), ChangedAt: moment(a.ChangedAt),
		Responder:    a.Responder.String(),
		SuppressedBy: text(a.SuppressedBy), Shelved: a.Shelved, OutOfService: a.Removed, ShelvedBy: text(a.ShelvedBy), ShelvedUntil: stamp(a.ShelvedUntil),
		RemovedBy: text(a.RemovedBy), ReviewAt: stamp(a.ReviewAt), Tag: p.tag(pump),
	}
	if last := a.Last; last != nil {
		e := Entry{Pump: pump, Event: *last}
		payload.Seq, payload.OccurrenceID = &last.Seq, p.occurrenceID(e)
		payload.Notify = text(last.Notify.String())
		payload.CarriedBy = text(a.CarriedBy)
		payload.Headline = text(p.headline(e))
		payload.Value, payload.Unit = magnitude(last.Value)
		payload.Limit, _ = magnitude(last.Limit)
	}
	return encode(payload)
}

// alarmRevision changes with every event of the alarm and every mark on it.
func alarmRevision(a *alarm.View) uint64 {
	revision := uint64(1) // 0 is "unknown"
	if a.Last != nil {
		revision += a.Last.Seq << 8
	}
	return revision + uint64(a.State)<<4 + marks(a)<<1
}

// marks has one bit for each thing that can stand on top of a state.
func marks(a *alarm.View) (bits uint64) {
	for i, on := range []bool{a.SuppressedBy != "", a.Shelved, a.Removed} {
		if on {
			bits |= 1 << i
		}
	}
	return bits
}
