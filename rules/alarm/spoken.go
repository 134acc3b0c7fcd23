package alarm

import (
	"cmp"
	"slices"
	"strings"
)

// A Speech is how the call of a group speaks of pumps that run without flow:
// what replaces its own words.
type Speech struct {
	Headline string // {dry} says which pumps are to be stopped, and why
	Cause    string // the causes of the pumps' own alarms follow
}

// spoken are the pumps' alarms that a group's call speaks for, the most urgent
// first: why the pump must be stopped, and what is to be done first, where
// {pumps} stands for the names.
var spoken = []struct {
	alarm, why string
	steps      []Action
}{
	{"failed_to_prime", "NOT PRIMED", []Action{
		off("Stop {pumps}. Do not run dry."),
		off("{take_over}"),
		off("Look at tank level and suction pressure on the screen before any new start."),
	}},
	{"no_flow", "NO FLOW", []Action{
		off("{take_over}"),
		off("Stop {pumps}, unless discharge pressure and motor load say that glycol is delivered: else it runs dry. Then watch suction pressure and tank level for gas flowing back."),
	}},
}

const dryConsequence = " A pump that runs dry wrecks its valves, seals and diaphragms within minutes."

// pumpsOf names the pumps for whose alarm of that name the call speaks.
func (f facts) pumpsOf(name string) (tags []string) {
	for _, one := range f.e.Alarms {
		if pump, own, _ := strings.Cut(one, "/"); own == name {
			tags = append(tags, cmp.Or(f.site.Tags[pump], pump))
		}
	}
	return tags
}

// speaks reports whether the event is a group's call that speaks for pumps too.
func (f facts) speaks() bool { return f.e.Kind != Summary && len(f.e.Alarms) > 0 }

// speaking gives t as the call says it that speaks for pumps too: to stop them
// is part of it.
func (f facts) speaking(t Text) Text {
	var dry []string
	var steps []Action
	t.Cause = t.Speech.Cause
	for _, s := range spoken {
		tags := f.pumpsOf(s.alarm)
		if len(tags) == 0 {
			continue
		}
		names := strings.Join(tags, " and ")
		dry = append(dry, "STOP "+names+": "+s.why)
		t.Cause += " " + names + ": " + Catalogue[s.alarm].Cause
		for _, part := range Catalogue[s.alarm].Parts {
			if !slices.Contains(t.Parts, part) {
				t.Parts = append(slices.Clip(t.Parts), part)
			}
		}
		for _, step := range s.steps {
			step.Text = strings.ReplaceAll(step.Text, "{pumps}", names)
			if !slices.Contains(steps, step) {
				steps = append(steps, step)
			}
		}
	}
	t.Headline = strings.ReplaceAll(t.Speech.Headline, "{dry}", strings.Join(dry, ". "))
	t.Consequence += dryConsequence
	t.Actions = append(steps, t.Actions[1:]...) // the first of its own is to start what may be running dry
	return t
}
