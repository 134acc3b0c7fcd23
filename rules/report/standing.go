package report

import (
	"cmp"
	"strings"
	"time"

	"pumpside/rules"
	"pumpside/rules/alarm"
)

// dueWithin is how far a report looks ahead.
const dueWithin = 7 * 24 * time.Hour

func (r *Report) due(in *Input, s *rules.Snapshot) {
	plate := in.Plates[s.Pump]
	for i := range s.Tasks {
		t := &s.Tasks[i]
		at := t.Window.Due.Median
		soon := !at.IsZero() && at.Before(in.At.Wall.Add(dueWithin))
		if t.Life.Used < 1 && !soon {
			continue
		}
		d := Due{
			Pump: s.Pump, Tag: in.tag(s.Pump), Task: t.Task, Title: cmp.Or(plate.Titles[t.Task], t.Task), Status: t.Status.String(),
			Used: t.Life.Used, Parts: plate.Parts[t.Task],
		}
		if t.Life.Used >= 1 {
			d.Since = dueSince(s, t.Task)
		}
		if !at.IsZero() && t.Life.Used < 1 { // what is due already has no date to come
			d.At = &at
		}
		r.Due = append(r.Due, d)
	}
}

// stands reports whether an alarm is active, or nobody has seen it yet.
func stands(v *alarm.View) bool {
	return v.State != alarm.Normal && v.Class != alarm.Record
}

func (r *Report) stand(in *Input, pump string, v *alarm.View) {
	if !stands(v) {
		return
	}
	s := Standing{
		Pump: pump, Alarm: v.Name, Class: v.Class.String(), Priority: v.Priority.String(), State: v.State.String(), Since: v.RaisedAt.Wall,
		Stale: v.State.Active() && in.until().Sub(v.RaisedAt.Wall) > staleAfter, Text: alarm.Title(v.Text),
	}
	if v.Last != nil {
		s.Text = in.Words(pump, v.Last).Headline
	}
	r.Standing = append(r.Standing, s)
}

func (r *Report) silence(pump string, v *alarm.View) {
	one := Silenced{Pump: pump, Alarm: v.Name}
	until := time.Time{}
	switch {
	case v.Removed:
		one.How, one.By, until, one.Left = "out_of_service", v.RemovedBy, v.ReviewAt, v.ReviewLeft.Seconds()
	case v.Shelved:
		one.How, one.By, until, one.Left = "shelved", v.ShelvedBy, v.ShelvedUntil, v.ShelvedLeft.Seconds()
	default:
		return
	}
	if !until.IsZero() {
		one.Until = &until
	}
	r.Silenced = append(r.Silenced, one)
}

// dueSince is when a task fell due, as its alarm has it; nil: not known.
func dueSince(s *rules.Snapshot, task string) *time.Time {
	for i := range s.Alarms {
		v := &s.Alarms[i]
		if e := v.Last; e != nil && e.Subject == task && v.State.Active() && (strings.HasSuffix(v.Text, "_due") || strings.HasSuffix(v.Text, "_overdue")) {
			at := v.RaisedAt.Wall
			if e.Kind == alarm.Worsened {
				at = e.At.Wall
			}
			return &at
		}
	}
	return nil
}
