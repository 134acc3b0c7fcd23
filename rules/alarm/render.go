package alarm

import "slices"

// A Message is everything an alert says, in words. It is made from an event
// when that is shown or sent.
type Message struct {
	Headline      string   `json:"headline"` // at most 120 characters; carries state, consequence and time
	Cause         string   `json:"cause,omitempty"`
	Consequence   string   `json:"consequence,omitempty"`
	Actions       []Action `json:"actions,omitempty"` // in order: hands-off, the safety text, hands-on
	Safety        string   `json:"safety,omitempty"`  // the safety text again, when Actions has it
	TimeToRespond string   `json:"time_to_respond,omitempty"`
	Evidence      []string `json:"evidence,omitempty"`
	Causes        []string `json:"causes,omitempty"` // explanations with their probability
	NotKnown      []string `json:"not_known,omitempty"`
	Parts         []string `json:"parts,omitempty"`
	Alarms        []string `json:"alarms,omitempty"` // of a summary: titles, worst first
	Where         string   `json:"where,omitempty"`
	Hazards       string   `json:"hazards,omitempty"`
	LastService   string   `json:"last_service,omitempty"`
	DriveFault    string   `json:"drive_fault,omitempty"`
}

// Render gives the words for an event. An event that calls for a person gets
// the whole message; any other gets a headline and its numbers. An event whose
// text the catalogue does not know says so and shows its facts.
func Render(e Event, site Site) Message {
	f := facts{e: &e, site: &site}
	t, known := TextOf(e.Text)
	switch {
	case e.Kind == Recorded || e.Kind == ServiceRecorded:
		return f.record(t, known)
	case !calls(&e):
		return Message{Headline: f.notice(), Evidence: f.evidence(), Where: f.place(), Hazards: site.Hazards}
	case !known:
		t = unknownText(e.Text)
	}
	return f.message(t)
}

// calls reports whether the event asks a person to act.
func calls(e *Event) bool {
	switch e.Kind {
	case Raised, Worsened, Escalated, Summary:
		return e.SuppressedBy == 0 && !e.ShelvedNow && !e.RemovedNow
	case Reminded, Unshelved, Unsuppressed, ReturnedToService:
		return e.State == Unacknowledged && e.SuppressedBy == 0 && !e.ShelvedNow && !e.RemovedNow
	}
	return false
}

// unknownText stands in for a key that this version has no words for.
func unknownText(key string) Text {
	return Text{
		Title: spaced(key), Headline: spaced(key) + "[ {value}][, limit {limit}][, {duration}]",
		Cause:       "This version has no words for \"" + key + "\".",
		Consequence: "Not known.",
		Actions:     []Action{off("Look at the numbers below, and act by site procedure.")},
		NotKnown:    "What this alarm means.",
	}
}

func (f facts) message(t Text) Message {
	if f.speaks() && t.Speech != (Speech{}) {
		t = f.speaking(t)
	}
	m := Message{
		Headline: f.headline(t), Cause: fill(t.Cause, f.token), Consequence: t.Consequence, Actions: f.actions(t),
		Evidence: f.evidence(), Causes: causeLines(f.e.Causes), NotKnown: f.notKnown(t), Parts: f.site.Parts,
		Where: f.place(), Hazards: f.site.Hazards, LastService: f.lastService(),
	}
	if slices.Contains(m.Actions, Action{Safety, Before}) {
		m.Safety = Safety
	}
	if f.e.TimeToRespond > 0 {
		m.TimeToRespond = Span(f.e.TimeToRespond)
	}
	if m.Parts == nil {
		m.Parts = t.Parts
	}
	if fault, ok := f.fault(); ok {
		m.DriveFault = fault
	}
	if f.e.Kind == Summary {
		for _, name := range f.e.Alarms {
			m.Alarms = append(m.Alarms, Title(name))
		}
	}
	return m
}

// record tells a fact of the journal.
func (f facts) record(t Text, known bool) Message {
	if !known {
		t = unknownText(f.e.Text)
		t.Actions, t.Consequence, t.NotKnown = nil, "", ""
	}
	if f.e.User != "" {
		t.Headline += "[, by {user}]"
	}
	line := headline{where: f.where(), what: fill(t.Headline, f.more) + "."}
	return Message{
		Headline: clip(line.String(), HeadlineMost), Cause: fill(t.Cause, f.token), Evidence: f.evidence(),
		NotKnown: f.notKnown(Text{NotKnown: t.NotKnown}), Where: f.place(),
	}
}

// place says where to go.
func (f facts) place() string {
	switch {
	case f.site.Location != "" && f.site.Tag != "":
		return f.site.Location + " (tag " + f.site.Tag + ")"
	case f.site.Tag != "":
		return "tag " + f.site.Tag
	}
	return f.site.Location
}
