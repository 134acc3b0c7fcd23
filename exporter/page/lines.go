package page

import (
	"cmp"
	"slices"
	"strings"
	"time"

	"pumpside/drivers"
	"pumpside/rules/alarm"
)

// A mark says how bad something is, in a shape, a digit and a word at once;
// its colour says nothing the others do not.
type mark struct {
	Shape string // square, triangle, circle; diamond for an advisory
	Digit string // 1 is worst
	Word  string
	Loud  bool // nobody has acknowledged it yet
}

var alarmShapes = [...]string{alarm.High: "square", alarm.Medium: "triangle", alarm.Low: "circle"}

func markOf(v *alarm.View) mark {
	m := mark{Digit: string('0' + byte(alarm.High-v.Priority) + 1), Word: v.Priority.String() + " alarm", Shape: alarmShapes[v.Priority]}
	if v.Class == alarm.Advisory {
		m.Shape, m.Word = "diamond", v.Priority.String()+" advisory"
	}
	m.Loud = v.State.NeedsAcknowledge() && !set(v)
	return m
}

// set reports whether a person or logic has silenced the alarm.
func set(v *alarm.View) bool { return v.Shelved || v.Removed || v.SuppressedBy != "" }

// stands reports whether the alarm needs to be known of now.
func stands(v *alarm.View) bool { return v.State != alarm.Normal && !set(v) && v.Class != alarm.Record }

// stateWords are what people read for a state.
var stateWords = map[alarm.State]string{
	alarm.Normal:                 "normal",
	alarm.Unacknowledged:         "still active, not acknowledged",
	alarm.Acknowledged:           "still active, acknowledged",
	alarm.ReturnedUnacknowledged: "cleared, not acknowledged",
	alarm.LatchedUnacknowledged:  "cleared but latched, not acknowledged",
	alarm.LatchedAcknowledged:    "cleared but latched, acknowledged",
}

// gone reports whether the alarm has cleared and waits only to be seen. One
// that latched has not: what it tells of does not heal.
func gone(v *alarm.View) bool { return v.State == alarm.ReturnedUnacknowledged }

// urgency orders alarms: whether anyone knows, then class, then priority. 0 is
// nothing; what has cleared comes last.
func urgency(v *alarm.View) int {
	switch {
	case !stands(v):
		return 0
	case gone(v):
		return 1
	}
	n := 2 + int(v.Priority)
	if v.Class == alarm.Alarm {
		n += 3
	}
	if v.State.NeedsAcknowledge() {
		n += 6
	}
	return n
}

// An alarmLine is one alarm in a list.
type alarmLine struct {
	Pump, Tag, Name string // Pump and Tag are "" for the site's own
	Title, Headline string
	Mark            mark
	State, Since    string
	Long            bool   // it has stood for longer than a day; said by a handover only
	Silence         string // who or what silences it, and until when
	Message         alarm.Message
	HasMessage      bool
	Open            bool // the message is shown without being asked for

	CanAcknowledge, CanReset, CanShelve, CanUnshelve, CanRemove, CanReturn bool
	Viewer                                                                 viewer
	Back                                                                   string
	raised                                                                 drivers.Instant
	active, gone                                                           bool
	calls                                                                  bool // an alarm, no advisory
	urgency                                                                int
	order                                                                  int64
}

// Gone reports whether it has cleared and waits only to be seen.
func (l alarmLine) Gone() bool { return l.gone }

// Escalates reports whether somebody further may be called while nobody has
// acknowledged it: an advisory waits, and what has cleared calls no more.
func (l alarmLine) Escalates() bool { return l.calls && !l.gone && l.CanAcknowledge }

// Key tells lines apart in one screen.
func (l alarmLine) Key() string { return l.Pump + "." + l.Name }

// line puts an alarm into words for a list.
func (p *Page) line(v viewer, back, pump, tag string, a *alarm.View) alarmLine {
	l := alarmLine{
		Pump: pump, Tag: tag, Name: a.Name, Mark: markOf(a), State: stateWords[a.State], Viewer: v, Back: back, urgency: urgency(a),
		Since: v.Clock.instant(a.RaisedAt), raised: a.RaisedAt, active: a.State.Active(), gone: gone(a), calls: a.Class == alarm.Alarm, order: -a.RaisedAt.Wall.UnixMilli(), Silence: silence(v, a),

		CanAcknowledge: a.State.NeedsAcknowledge(), CanReset: a.State == alarm.LatchedAcknowledged,
		CanShelve: !a.Shelved, CanUnshelve: a.Shelved, CanRemove: !a.Removed, CanReturn: a.Removed,
	}
	l.Title = alarm.Title(a.Text)
	if a.Last != nil {
		l.Message, l.HasMessage = p.words(v, pump, a.Call()), true
		l.Headline = l.Message.Headline
		if about := subjectOf(p.source.Names(pump, a.Last).Subject, pump, a.Last); about != "" && !strings.Contains(l.Title, lower(about)) {
			l.Title += ": " + about
		}
	}
	return l
}

// subjectOf is what an alarm is about: its title; else a signal in words, or
// the id of a device or bus as it is written.
func subjectOf(title, pump string, e *alarm.Event) string {
	switch {
	case title != "":
		return title
	case pump == "":
		return e.Subject
	}
	return spaced(e.Subject)
}

func silence(v viewer, a *alarm.View) string {
	var list []string
	if a.Shelved {
		list = append(list, "shelved by "+a.ShelvedBy+until(v.Clock, a.ShelvedUntil))
	}
	if a.Removed {
		list = append(list, "out of service, set by "+a.RemovedBy+until(v.Clock, a.ReviewAt))
	}
	if a.CarriedBy != "" {
		list = append(list, "called by "+a.CarriedBy+", which speaks for this one too")
	}
	if a.SuppressedBy != "" {
		var by alarm.Logic
		if by.UnmarshalText([]byte(a.SuppressedBy)) == nil { // else it is of a later version
			list = append(list, "held back while "+by.While())
		}
	}
	return strings.Join(list, "; ")
}

func until(c clock, end time.Time) string {
	if end.IsZero() {
		return ", end not known while the clock is not set"
	}
	return " until " + c.stamp(end)
}

// lines lists the alarms of a pump, or of the site with a nil pump, that keep
// accepts, the most urgent first.
func (p *Page) lines(v viewer, back string, view *View, pump *Pump, keep func(*alarm.View) bool) (list []alarmLine) {
	id, tag, alarms := "", "", view.Own.Alarms
	if pump != nil {
		id, tag, alarms = pump.ID, pump.Tag, pump.Alarms
	}
	for i := range alarms {
		if keep(&alarms[i]) {
			list = append(list, p.line(v, back, id, tag, &alarms[i]))
		}
	}
	sortLines(list)
	return list
}

// everywhere is lines of the site and all pumps.
func (p *Page) everywhere(v viewer, back string, view *View, keep func(*alarm.View) bool) []alarmLine {
	list := p.lines(v, back, view, nil, keep)
	for i := range view.Pumps {
		list = append(list, p.lines(v, back, view, &view.Pumps[i], keep)...)
	}
	sortLines(list)
	return list
}

func sortLines(list []alarmLine) {
	slices.SortStableFunc(list, func(a, b alarmLine) int {
		return cmp.Or(cmp.Compare(b.urgency, a.urgency), cmp.Compare(a.order, b.order))
	})
}

// An ordered is a line with what its form asks for.
type ordered struct {
	Line alarmLine
	Verb string
	Word string // on the button
}

// Do gives the form of a verb.
func (l alarmLine) Do(verb, word string) ordered { return ordered{l, verb, word} }
