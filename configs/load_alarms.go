package configs

import (
	"cmp"
	"reflect"
	"slices"

	"pumpside/drivers"
	"pumpside/rules/alarm"
)

var (
	priorities = map[string]alarm.Priority{"low": alarm.Low, "medium": alarm.Medium, "high": alarm.High}
	responders = map[string]alarm.Responder{"control_room": alarm.ControlRoom, "mechanic": alarm.Mechanic, "automation": alarm.Automation, "journal": alarm.Journal}
	notifies   = map[string]alarm.Notify{"now": alarm.Now, "next_working_day": alarm.NextWorkingDay, "never": alarm.Never}
)

// alarmChanges are the changes to alarms that exist.
type alarmChanges struct {
	*loader
	here   *place
	byName map[string]alarm.Change
	off    []string
	plain  []alarm.Definition // without the changes
}

// changes reads the changes to defs. foreign is what to say of an alarm that
// exists and is none of them.
func (l *loader) changes(here *place, list map[string]alarmFile, defs []alarm.Definition, foreign string) alarmChanges {
	c := alarmChanges{loader: l, here: here, byName: map[string]alarm.Change{}, plain: defs}
	var names []string
	for i := range defs {
		names = append(names, defs[i].Name)
	}
	for _, name := range sortedKeys(list) {
		f := list[name]
		switch {
		case slices.Contains(names, name):
		case slices.Contains(alarm.StandingNames(), name):
			l.wrong(here.child(name), "%s", foreign)
			continue
		default:
			l.wrong(here.child(name), "there is no alarm %q; %s", name, oneOf(name, names))
			continue
		}
		if f.Off {
			c.off = append(c.off, name)
		}
		c.byName[name] = l.change(here.child(name), &f)
	}
	return c
}

func (l *loader) change(here *place, f *alarmFile) alarm.Change {
	c := alarm.Change{
		Priority: word(priorities, f.Priority), WorsePriority: word(priorities, f.WorsePriority),
		Responder: word(responders, f.Responder), Notify: word(notifies, f.Notify),
		Latching: f.Latching, OnDelay: f.OnDelay, OffDelay: f.OffDelay, ReAlarm: f.ReAlarm, Blanking: f.Blanking, TimeToRespond: f.TimeToRespond,
	}
	if c == (alarm.Change{}) && !f.Off && !l.anySpoilt(here, shapeOf(reflect.TypeFor[alarmFile]()).names...) {
		l.wrong(here, "changes nothing; write off: true, priority, on_delay or another of its keys")
	}
	return c
}

// word gives the value of a word, nil for a word that is not there.
func word[T any](values map[string]T, text string) *T {
	v, ok := values[text]
	if !ok {
		return nil
	}
	return &v
}

// mustShow tells of a change that the alarm as it is now does not show.
func (c *alarmChanges) mustShow(defs []alarm.Definition) {
	for i := range defs {
		name := defs[i].Name
		change, changed := c.byName[name]
		if changed && defs[i] != defs[i].With(change) {
			c.wrong(c.here.child(name), "cannot be changed here, only switched off; its delay stands with its limits")
		}
	}
}

// toLimits adds the changes to what the limits of signals say of their alarms:
// rates and deviations have one change for both directions, so that it is
// taken only where there is one direction.
func (c *alarmChanges) toLimits(list []alarm.SignalSettings) {
	for i := range c.plain {
		d := &c.plain[i]
		change, changed := c.byName[d.Name]
		if !changed {
			continue
		}
		for j := range list {
			if set := &list[j]; set.Signal == d.Signal && d.Signal != drivers.NoSignal {
				into(set, d, change)
			}
		}
	}
}

func into(set *alarm.SignalSettings, d *alarm.Definition, change alarm.Change) {
	switch by := d.Rule.By; {
	case by == alarm.ByValue && d.Rule.Limit.High:
		set.ForHigh = merged(set.ForHigh, change)
	case by == alarm.ByValue:
		set.ForLow = merged(set.ForLow, change)
	case by == alarm.ByRate && (set.FallsFaster == nil || set.RisesFaster == nil):
		set.Rate = merged(set.Rate, change)
	case by == alarm.ByDeviation && (set.Above == nil || set.Below == nil):
		set.Deviation = merged(set.Deviation, change)
	}
}

// merged gives a with what b says otherwise.
func merged(a, b alarm.Change) alarm.Change {
	return alarm.Change{
		Priority: cmp.Or(b.Priority, a.Priority), WorsePriority: cmp.Or(b.WorsePriority, a.WorsePriority),
		Responder: cmp.Or(b.Responder, a.Responder), Notify: cmp.Or(b.Notify, a.Notify), Latching: cmp.Or(b.Latching, a.Latching),
		OnDelay: cmp.Or(b.OnDelay, a.OnDelay), OffDelay: cmp.Or(b.OffDelay, a.OffDelay), ReAlarm: cmp.Or(b.ReAlarm, a.ReAlarm),
		Blanking: cmp.Or(b.Blanking, a.Blanking), TimeToRespond: cmp.Or(b.TimeToRespond, a.TimeToRespond), SuppressedBy: cmp.Or(b.SuppressedBy, a.SuppressedBy),
	}
}
