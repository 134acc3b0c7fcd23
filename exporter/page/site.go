package page

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"pumpside/drivers"
	"pumpside/rules"
	"pumpside/rules/alarm"
	"pumpside/rules/service"
)

// siteScreen answers: where do I go first?
func siteScreen(p *Page, a ask, view View, v viewer) (*screen, error) {
	s := &screen{Title: view.Site.Title, Nav: "site", Body: "site"}
	lines := make([]siteLine, len(view.Pumps))
	for i := range view.Pumps {
		lines[i] = p.siteLine(v, a.Path, &view, &view.Pumps[i])
	}
	slices.SortStableFunc(lines, func(a, b siteLine) int { return cmp.Compare(b.need, a.need) })
	own := p.lines(v, a.Path, &view, nil, stands)
	s.add("verdict", "site-verdict", verdict(lines, own))
	s.add("own", "site-own", own)
	s.add("groups", "site-groups", groupRows(v, &view))
	ids := make([]string, len(lines))
	for i, l := range lines {
		ids[i] = "pump-" + l.ID
		s.add(ids[i], "site-line", l)
	}
	s.Data, s.Order = ids, ids
	return s, nil
}

// A siteLine is one pump in a line.
type siteLine struct {
	ID, Tag, Location string
	Running           runState
	Hours             string
	Wrong             *alarmLine // what is wrong first; nil: nothing
	More              int        // other alarms that stand
	Next              nextTask
	HasNext           bool
	Cause             string // the likeliest explanation; "" when there is nothing to explain
	Silenced          int
	Blind             string // that signals are bad, and how many; "" when all can be told
	need              int
}

// Calls reports whether the pump needs a person: a service that is due soon
// does not yet.
func (l siteLine) Calls() bool { return l.need >= needsPlan*int(service.Due) }

// The needs, in steps that no number of lesser things reaches.
const (
	needsWord = 50   // something of it is not known
	needsPlan = 100  // a service is due
	needsLook = 1000 // an alarm or advisory stands
)

// A runState is whether a pump runs, in a shape and a word.
type runState struct {
	Shape, Word, For string
	Why              string // it is stopped, or in which way it runs
}

func running(s *rules.Snapshot) runState {
	r := runState{Shape: "unknown", Word: "not known", For: ago(s.For)}
	switch s.Running {
	case alarm.Yes:
		r.Shape, r.Word = "running", "running"
	case alarm.No:
		r.Shape, r.Word = "standing", "stopped"
	}
	if s.Disputed {
		r.Shape, r.Word = "unknown", "disputed"
	}
	if m := s.Operation.Mode; m != rules.ModeUnknown && m != rules.Running && m != rules.StoppedNotKnown {
		r.Why = strings.TrimPrefix(spaced(m.String()), r.Word+" ")
	}
	if s.For == 0 {
		r.For = ""
	}
	return r
}

func (p *Page) siteLine(v viewer, back string, view *View, pump *Pump) siteLine {
	l := siteLine{
		ID: pump.ID, Tag: pump.Tag, Location: pump.Location, Running: running(pump.Snapshot), Hours: hours(pump.Totals.RunSeconds, 1),
	}
	list := p.lines(v, back, view, pump, stands)
	if len(list) > 0 {
		l.Wrong, l.More = &list[0], len(list)-1
		if !l.Wrong.gone {
			l.need += needsLook * l.Wrong.urgency
		}
	}
	for i := range pump.Alarms {
		if a := &pump.Alarms[i]; a.Shelved || a.Removed {
			l.Silenced++
		}
	}
	if l.Blind = blind(pump.Snapshot); l.Blind != "" || pump.Running == alarm.Unknown {
		l.need += needsWord
	}
	if next, ok := mostUsed(pump); ok {
		l.Next, l.HasNext = next, true
		l.need += needsPlan * int(next.status)
	}
	if c := pump.worstCause(); c != nil {
		l.Cause = causeWords(c) + " " + percent(c.Probability) + " %"
	}
	return l
}

// blind says how many signals of a pump are bad.
func blind(s *rules.Snapshot) string {
	n := 0
	for i := range s.Signals {
		if s.Signals[i].Quality == drivers.Bad {
			n++
		}
	}
	switch n {
	case 0:
		return ""
	case len(s.Signals):
		return "nothing is read"
	}
	return fmt.Sprintf("%d of %s not read", n, plural(len(s.Signals), "signal"))
}

// A nextTask is the service task that comes next.
type nextTask struct {
	Title, Used, Word string
	status            service.Status
}

var statusWords = map[service.Status]string{service.InLife: "", service.DueSoon: "due soon", service.Due: "due", service.Overdue: "overdue"}

// Late reports whether it is due or beyond.
func (t nextTask) Late() bool { return t.status >= service.Due }

func mostUsed(pump *Pump) (nextTask, bool) {
	var worst *rules.TaskView
	for i := range pump.Tasks {
		if t := &pump.Tasks[i]; t.Life.By != "" && (worst == nil || t.Life.Used > worst.Life.Used) {
			worst = t
		}
	}
	if worst == nil {
		return nextTask{}, false
	}
	return nextTask{pump.title(worst.Task), used(worst.Life.Used), statusWords[worst.Status], worst.Status}, true
}

// A summary is the answer in a sentence.
type summary struct {
	Text  string
	Own   *alarmLine // what is first, of the site itself; nil: it is not of the site
	Pump  *siteLine  // where to go first; nil: nowhere
	Total int
}

func verdict(lines []siteLine, own []alarmLine) summary {
	calling := 0
	for _, l := range lines {
		if l.Calls() {
			calling++
		}
	}
	s := summary{Total: len(lines)}
	first := ownFirst(own)
	switch {
	case calling > 0 && first != nil && (first.calls || !lines[0].Alarmed()):
		s.Own = first
		s.Text = callsToo(calling, len(lines))
	case calling > 0:
		s.Pump = &lines[0]
		s.Text = calls(calling, len(lines))
	case first != nil:
		s.Own = first
		s.Text = "No pump needs a person. The site itself does"
	case len(own) > 0:
		s.Text = "Nothing calls for a person; what has cleared at the site itself is not acknowledged"
	case len(lines) == 1:
		s.Text = "Nothing calls for a person"
	default:
		s.Text = fmt.Sprintf("None of the %d pumps needs a person", len(lines))
	}
	return s
}

// Alarmed reports whether an alarm or advisory stands at the pump.
func (l siteLine) Alarmed() bool { return l.Wrong != nil && !l.Wrong.gone }

// ownFirst is what of the site's own stands first: an alarm, such as that the
// circulation is lost, before any advisory; nil when all has cleared.
func ownFirst(own []alarmLine) *alarmLine {
	var first *alarmLine
	for i := range own {
		if l := &own[i]; !l.gone && (first == nil || l.calls && !first.calls) {
			first = l
		}
	}
	return first
}

// callsToo is calls where the site itself needs a person too.
func callsToo(n, of int) string {
	if of == 1 {
		return "The site itself and the pump need a person"
	}
	return fmt.Sprintf("The site itself and %d of %d pumps need a person", n, of)
}

func calls(n, of int) string {
	switch {
	case of == 1:
		return "The pump needs a person"
	case n == 1:
		return fmt.Sprintf("1 of %d pumps needs a person", of)
	}
	return fmt.Sprintf("%d of %d pumps need a person", n, of)
}
