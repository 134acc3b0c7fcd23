package alarm

import (
	"fmt"
	"slices"
	"strings"
	"time"
	"unicode/utf8"
)

// HeadlineMost is the length of a headline in characters: what a phone shows
// without being touched.
const HeadlineMost = 120

// A headline is the pieces of the first line, in the order they are read.
type headline struct {
	tag   string // [HIGH]
	where string // Ridge Site, GP-2:
	what  string // no glycol flow 4 min.
	state string // Pump RUNNING, standby NOT available, gas flowing.
	act   string // Act in 30 min.
	age   string // Data 5 s old.
}

func (h headline) String() string {
	parts := slices.DeleteFunc([]string{h.tag, h.where, h.what, h.state, h.act, h.age}, func(s string) bool { return s == "" })
	return strings.Join(parts, " ")
}

func (h headline) fits() bool { return utf8.RuneCountInString(h.String()) <= HeadlineMost }

// headline composes the first line of an announcement and shortens it, the
// least needed first, until it fits.
func (f facts) headline(t Text) string {
	h := headline{tag: f.tag(), where: f.where(), what: f.whatOf(t.Headline), state: f.state(t, longState), act: f.act(t, t.Act), age: f.age("Data ")}
	template := t.Headline
	pumpsOnly := func() { // of a group's call that names its pumps: they tell which group
		if f.speaks() {
			site := *f.site
			site.Group, f.site = "", &site
			h.where = f.where()
		}
	}
	brief := func() { f.brief = true; h.what = f.whatOf(template) }
	fewer := func() { template = shorterTemplate(template); h.what = f.whatOf(template) }
	for _, shorten := range []func(){
		func() { h.age = f.age("") },
		func() { h.age = f.oldAge() },
		pumpsOnly,
		func() { h.state = f.state(t, shortState) },
		brief, fewer, fewer,
		func() { h.act = f.act(t, shorterTemplate(t.Act)) },
		func() { h.where = f.clippedWhere(18) },
		func() { h.where = f.clippedWhere(10) },
		fewer,
		func() { h.state = f.state(t, pumpOnly) },
		func() { h.what = t.Title + "." },
		func() { h.age = "" },
		func() { h.state = "" },
	} {
		if h.fits() {
			break
		}
		shorten()
	}
	return clip(h.String(), HeadlineMost)
}

// whatOf fills a headline's template as a sentence that stands after a colon.
func (f facts) whatOf(template string) string {
	text := f.what(template)
	if strings.HasSuffix(text, ".") {
		return text
	}
	return text + "."
}

// tag is the priority of an alarm, or what kind of message it is.
func (f facts) tag() string {
	switch {
	case f.e.Kind == Escalated:
		return fmt.Sprintf("[%s, ESCALATION %d]", strings.ToUpper(f.e.Priority.String()), f.e.Escalation)
	case f.e.Class == Alarm:
		return "[" + strings.ToUpper(f.e.Priority.String()) + "]"
	case f.e.Class == Advisory:
		return "[ADVISORY]"
	}
	return ""
}

// where names site and pump or group.
func (f facts) where() string { return f.at(f.site.Name) }

func (f facts) clippedWhere(most int) string { return f.at(clip(f.site.Name, most)) }

func (f facts) at(site string) string {
	group := f.site.Group
	if f.site.Pump != "" {
		group = "" // the pump's name is enough
	}
	pump := strings.Join(append([]string{f.site.Pump}, f.site.Along...), " and ")
	names := slices.DeleteFunc([]string{site, group, pump}, func(s string) bool { return s == "" })
	if len(names) == 0 {
		return ""
	}
	return strings.Join(names, ", ") + ":"
}

// what says what happened; a message that comes again says so.
func (f facts) what(template string) string {
	text := fill(template, f.token)
	switch {
	case f.brief && f.e.Kind == Reminded:
		return "STILL: " + text
	case f.brief && f.e.Kind == Escalated: // what is left of the time follows
		return text
	case f.brief && f.e.Kind == Unshelved:
		return "UNSHELVED: " + text
	case f.e.Kind == Worsened:
		return "WORSE: " + text
	case f.e.Kind == Reminded:
		return "STILL THERE: " + text
	case f.e.Kind == Escalated:
		return "unanswered " + Span(f.e.Unanswered) + ": " + text
	case f.e.Kind == Unshelved:
		return "no longer shelved: " + text
	}
	return text
}

// A wording is how the circumstances are said: pump, standby, gas.
type wording struct {
	pump    map[Known]string
	standby map[string]string
	gas     map[Known]string
}

var longState = wording{
	pump:    map[Known]string{Yes: "Pump RUNNING", No: "Pump STOPPED", Unknown: "Pump state unknown"},
	standby: map[string]string{"available": "standby available", "running": "standby RUNNING", "not_available": "standby NOT available", "none": "no standby", "unknown": "standby unknown", "": "standby unknown"},
	gas:     map[Known]string{Yes: "gas flowing", No: "no gas flowing", Unknown: "gas unknown"},
}

var shortState = wording{
	pump:    map[Known]string{Yes: "RUNNING", No: "STOPPED", Unknown: "pump unknown"},
	standby: map[string]string{"available": "standby OK", "running": "standby RUNNING", "not_available": "NO standby", "none": "no standby", "unknown": "standby unknown", "": "standby unknown"},
	gas:     map[Known]string{Yes: "gas on", No: "gas off", Unknown: "gas unknown"},
}

var pumpOnly = wording{pump: shortState.pump}

// state says how pump, standby and gas stand: for an alarm about the
// circulation all three, for another alarm of a pump only the first.
func (f facts) state(t Text, w wording) string {
	if f.e.Class != Alarm || !t.Circulation && f.site.Pump == "" {
		return ""
	}
	var parts []string
	if said := f.e.PumpRunning == No && strings.HasPrefix(t.Headline, "STOPPED"); f.site.Pump != "" && len(f.site.Along) == 0 && !said {
		parts = append(parts, w.pump[f.e.PumpRunning])
	}
	if t.Circulation && w.standby != nil {
		standby, known := w.standby[strings.ReplaceAll(f.e.Standby, " ", "_")]
		if !known {
			standby = "standby " + spaced(f.e.Standby)
		}
		parts = append(parts, standby, w.gas[f.e.GasFlowing])
	}
	return sentence(strings.Join(parts, ", "))
}

func (f facts) act(t Text, act string) string {
	switch {
	case f.e.TimeToRespond == 0 || f.e.Class == Record:
		return ""
	case f.e.Kind == Escalated && f.left() < time.Minute:
		return "Act NOW."
	case f.e.Kind == Escalated:
		return "Act in " + Span(f.left()) + "."
	case act != "":
		return fill(act, func(string) (string, bool) { return Span(f.e.TimeToRespond), true })
	case f.e.Class == Alarm:
		return "Act in " + Span(f.e.TimeToRespond) + "."
	}
	return "Act within " + Span(f.e.TimeToRespond) + "."
}

// left is what is left of the time to respond when nobody has answered.
func (f facts) left() time.Duration { return f.e.TimeToRespond - f.e.Unanswered }

func (f facts) age(prefix string) string {
	age := ageOf(f.e.DataAge)
	if age == "" || f.e.Class != Alarm {
		return ""
	}
	return prefix + age + "."
}

// oldAge is the age of data that is not fresh.
func (f facts) oldAge() string {
	if f.e.DataAge < time.Minute {
		return ""
	}
	return f.age("")
}

// clip cuts s to most characters.
func clip(s string, most int) string {
	if utf8.RuneCountInString(s) <= most {
		return s
	}
	r := []rune(s)[:most-1]
	return strings.TrimRight(string(r), " ,") + "…"
}
