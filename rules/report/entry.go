package report

import (
	"cmp"

	"pumpside/rules/alarm"
)

// tells reports whether an event is news to a shift.
func tells(e *alarm.Event) bool {
	switch e.Kind {
	case alarm.Suppressed, alarm.Unsuppressed, alarm.Chattering, alarm.Settled, alarm.Eased, alarm.Refused, alarm.Recorded:
		return false // starts and stops are counted
	}
	return true
}

// Uses reports whether a report is made of such events: the rest, most of it
// starts and stops, need not be kept for it.
func Uses(e *alarm.Event) bool {
	return tells(e) || e.Kind == alarm.Eased || e.Kind == alarm.Chattering || e.Notify == alarm.Now
}

// title is what an entry is about, in a few words.
func (in *Input) title(e *Entry) string {
	title := alarm.Title(e.Event.Text)
	if about := e.Event.Subject; about != "" {
		title += " (" + cmp.Or(in.Plates[e.Pump].Titles[about], in.Plates[about].Tag, spaced(about)) + ")"
	}
	return title
}

// place is whose entry it is: a pump's, a group's or the site's.
func (in *Input) place(e *Entry) string {
	if e.Pump != "" {
		return in.tag(e.Pump)
	}
	return cmp.Or(in.Groups[e.Event.Group], e.Event.Group, "site")
}

func change(in *Input, e *Entry) Change {
	c := Change{At: e.Event.At.Wall, Pump: e.Pump, Event: e.Event.Kind.String(), Alarm: e.Event.Alarm, Text: in.Words(e.Pump, e.Event).Headline}
	c.Title, c.Where, c.Occurrence, c.Comment, c.Active = in.title(e), in.place(e), e.Event.Occurrence, e.Event.Comment, e.Event.State.Active()
	if e.Event.User != "" {
		c.User = &e.Event.User
	}
	return c
}
