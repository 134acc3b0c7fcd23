package main

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"maps"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"pumpside/agent/store"
	"pumpside/rules/alarm"
)

// An alarmName is an alarm of a pump, or of the site with no pump.
type alarmName struct {
	Pump  string `json:"pump,omitempty"`
	Alarm string `json:"alarm"`
}

// An alert is one alarm in full: where it stands, and what it says to do.
type alert struct {
	Pump    string        `json:"pump"`
	View    alarm.View    `json:"view"`
	Over    *over         `json:"over,omitempty"` // nil while it stands
	Message alarm.Message `json:"message"`
}

// An over is how an alarm ended whose cause is gone, as far as the journal
// still has it.
type over struct {
	Cleared      *alarm.Event `json:"cleared"`      // nil: not known when
	Acknowledged *alarm.Event `json:"acknowledged"` // nil: nobody has, or not known who
}

func (g *gateway) alert(ctx context.Context, name alarmName) (alert, error) {
	list, err := g.alarms(ctx)
	if err != nil {
		return alert{}, err
	}
	for _, v := range list.Pumps[name.Pump] {
		switch e := v.Call(); {
		case v.Name != name.Alarm:
		case e == nil:
			return alert{}, fmt.Errorf("%s was never raised: there is nothing to show", nameOf(name.Pump, name.Alarm))
		default:
			over, err := g.over(ctx, name, &v)
			return alert{name.Pump, v, over, g.words.render(name.Pump, e)}, err
		}
	}
	return alert{}, list.missing(name)
}

// over finds how the newest occurrence of an alarm ended; nil while it stands.
func (g *gateway) over(ctx context.Context, name alarmName, v *alarm.View) (*over, error) {
	if v.State.Active() {
		return nil, nil
	}
	rows, err := g.store.Journal(ctx, store.JournalQuery{Subjects: []string{name.Pump}, Alarm: name.Alarm, NewestFirst: true, Limit: 100})
	if err != nil {
		return nil, err
	}
	var end over
	for _, r := range rows {
		if r.Occurrence != v.Occurrence {
			continue
		}
		e := new(alarm.Event)
		if err := json.Unmarshal(r.Body, e); err != nil {
			return nil, fmt.Errorf("journal entry %d of %q: %w", r.Seq, r.Subject, err)
		}
		switch {
		case e.Kind == alarm.Cleared && end.Cleared == nil:
			end.Cleared = e
		case e.Kind == alarm.AcknowledgedBy && end.Acknowledged == nil:
			end.Acknowledged = e
		}
	}
	return &end, nil
}

// missing says which names there are for one that is none.
func (l *alarmList) missing(name alarmName) error {
	if _, known := l.Pumps[name.Pump]; !known {
		ids := slices.DeleteFunc(slices.Sorted(maps.Keys(l.Pumps)), func(id string) bool { return id == "" })
		return fmt.Errorf("there is no pump %q; the site has %s", name.Pump, strings.Join(ids, ", "))
	}
	if name.Pump == "" {
		if list := l.having(name.Alarm); len(list) > 0 {
			return fmt.Errorf("the site has no alarm %q, but a pump has: write %s", name.Alarm, strings.Join(list, " or "))
		}
	}
	return fmt.Errorf("there is no alarm %q; \"pumpside alarms list --all\" shows the names", nameOf(name.Pump, name.Alarm))
}

// having lists that alarm of every pump that has it, as it is written.
func (l *alarmList) having(name string) (list []string) {
	for _, pump := range slices.Sorted(maps.Keys(l.Pumps)) {
		if l.has(alarmName{pump, name}) {
			list = append(list, nameOf(pump, name))
		}
	}
	return list
}

func (l *alarmList) has(name alarmName) bool {
	return slices.ContainsFunc(l.Pumps[name.Pump], func(v alarm.View) bool { return v.Name == name.Alarm })
}

func alarmsShow() *cobra.Command {
	c := &cobra.Command{
		Use:   "show [PUMP/]ALARM",
		Short: "Show one alarm in full: why, what happens if nobody acts, what to do, what is seen",
		Args:  asUsed,
	}
	config := configFlag(c)
	asJSON := c.Flags().Bool("json", false, "print JSON")
	c.RunE = func(c *cobra.Command, args []string) error {
		return atDesk(c.Context(), *config, func(d desk) error {
			pump, name := splitAlarm(args[0])
			told, err := d.alert(c.Context(), alarmName{pump, name})
			if err != nil {
				return err
			}
			zone, err := d.zone(c.Context())
			if err != nil {
				return err
			}
			return printed(c.OutOrStdout(), *asJSON, told, func(w io.Writer) { told.print(w, zone) })
		})
	}
	return c
}

func (a *alert) print(w io.Writer, zone *time.Location) {
	if a.Over != nil {
		fmt.Fprintf(w, "%s\nAs it was told:\n", a.Over.text(a.View.State, zone))
	}
	now := a.View.State.String()
	if at := since(a.View, zone); at != "-" {
		now += ", since " + at
	}
	fmt.Fprint(w, a.Message)
	fmt.Fprintf(w, "Now: %s\n", joined("; ", strings.ReplaceAll(now, "_", " "), marksOf(a.View, zone)))
}

// text says that an alarm is over: since when, and who has seen it.
func (o *over) text(state alarm.State, zone *time.Location) string {
	text := "OVER: cleared, not known when"
	if o.Cleared != nil {
		text = "OVER: cleared " + stamped(o.Cleared.At.Wall, zone)
		if o.Cleared.Duration > 0 {
			text += " after " + alarm.Span(o.Cleared.Duration)
		}
	}
	switch {
	case state.NeedsAcknowledge():
		text += "; nobody has acknowledged it"
	case o.Acknowledged != nil:
		text += fmt.Sprintf("; acknowledged by %s %s", o.Acknowledged.User, stamped(o.Acknowledged.At.Wall, zone))
	default:
		text += "; not known who acknowledged it"
	}
	if state == alarm.LatchedUnacknowledged || state == alarm.LatchedAcknowledged {
		text += "; it is held until somebody resets it"
	}
	return text + "."
}

// stamped writes a time as the clock on the wall of the site shows it.
func stamped(t time.Time, zone *time.Location) string {
	return t.In(zone).Format("2006-01-02 15:04:05 MST")
}
