package main

import (
	"crypto/rand"
	"encoding/json"
	"fmt"
	"io"
	"maps"
	"os"
	"slices"
	"strings"
	"text/tabwriter"
	"time"

	"github.com/spf13/cobra"

	"pumpside/drivers"
	"pumpside/rules/alarm"
)

func alarmsCommand() *cobra.Command {
	c := &cobra.Command{
		Use:   "alarms",
		Short: "List and show alarms, acknowledge, shelve and reset them; read the journal",
		Args:  cobra.NoArgs,
		RunE:  needsCommand,
	}
	c.AddCommand(alarmsList(), alarmsShow(), alarmsJournal())
	for _, v := range []struct {
		use, short, span string
		verb             drivers.Verb
	}{
		{"ack", "Acknowledge an alarm: you have taken it in hand; nobody further is called", "", drivers.Acknowledge},
		{"reset", "Let go of a latched alarm whose cause is gone", "", drivers.Reset},
		{"shelve", "Silence an alarm for a while (8 h unless --for says otherwise, 24 h at most)", "how long", drivers.Shelve},
		{"unshelve", "End the shelving of an alarm", "", drivers.Unshelve},
		{"remove", "Silence an alarm until a review (7 days unless --for says otherwise, 90 at most); deletes nothing, touches no pump", "until the review", drivers.Remove},
		{"return", "Put an alarm that was removed back into service", "", drivers.Return},
	} {
		c.AddCommand(alarmsOrder(v.use, v.short, v.span, v.verb))
	}
	return c
}

// An alarm is named as the list prints it: PUMP/ALARM, or ALARM for the site.
func alarmsOrder(use, short, span string, verb drivers.Verb) *cobra.Command {
	c := &cobra.Command{Use: use + " [PUMP/]ALARM", Short: short, Args: asUsed}
	config := configFlag(c)
	why := "why, for the journal"
	if span != "" {
		why += "; must be given"
	}
	comment := c.Flags().String("comment", "", why)
	asJSON := c.Flags().Bool("json", false, "print JSON")
	length := new(time.Duration)
	if span != "" {
		length = spanFlag(c.Flags(), "for", 0, span+", such as 2h30m")
	}
	c.RunE = func(c *cobra.Command, args []string) error {
		if span != "" && strings.TrimSpace(*comment) == "" {
			return misuse{fmt.Errorf("say why: %s %s --comment 'mechanic on site'; the next shift reads it", c.CommandPath(), args[0])}
		}
		pump, name := splitAlarm(args[0])
		o := order{Pump: pump, Command: drivers.Command{Verb: verb, Alarm: name, For: *length, Comment: *comment}}
		return atDesk(c.Context(), *config, func(d desk) error {
			if err := pumpForgotten(c, d, o); err != nil {
				return err
			}
			return giveAt(c, d, *asJSON, o)
		})
	}
	return c
}

// pumpForgotten finds an alarm that only pumps have, written as if it were the
// site's.
func pumpForgotten(c *cobra.Command, d desk, o order) error {
	if o.Pump != "" {
		return nil
	}
	list, err := d.alarms(c.Context())
	name := alarmName{Alarm: o.Command.Alarm}
	if err != nil || list.has(name) || len(list.having(name.Alarm)) == 0 {
		return err
	}
	return list.missing(name)
}

func splitAlarm(text string) (pump, name string) {
	for i := range text {
		if text[i] == '/' {
			return text[:i], text[i+1:]
		}
	}
	return "", text
}

// giveAt gives an order at the desk and prints what came of it. A refusal is
// "not well".
func giveAt(c *cobra.Command, d desk, asJSON bool, o order) error {
	o.Command.ID, o.Command.User = rand.Text(), userName(uint32(os.Getuid()))
	out, err := d.order(c.Context(), o)
	if err != nil {
		return err
	}
	if err := printed(c.OutOrStdout(), asJSON, out, func(w io.Writer) { fmt.Fprintln(w, out.text()) }); err != nil {
		return err
	}
	if !out.Accepted {
		return errUnwell
	}
	return nil
}

// text is the headline; a refusal is told whole, however long it is.
func (o *outcome) text() string {
	if !o.Accepted && o.Event != nil && o.Event.Refusal != "" {
		return "refused: " + o.Event.Refusal
	}
	return o.Headline
}

// printed writes an answer as JSON or as text.
func printed(w io.Writer, asJSON bool, answer any, text func(io.Writer)) error {
	if asJSON {
		e := json.NewEncoder(w)
		e.SetIndent("", "  ")
		return e.Encode(answer)
	}
	table := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	text(table)
	return table.Flush()
}

func alarmsList() *cobra.Command {
	c := &cobra.Command{Use: "list", Short: "List the alarms that are not normal", Args: cobra.NoArgs}
	config := configFlag(c)
	all, asJSON := c.Flags().Bool("all", false, "the normal ones too"), c.Flags().Bool("json", false, "print JSON")
	c.RunE = func(c *cobra.Command, _ []string) error {
		return atDesk(c.Context(), *config, func(d desk) error {
			list, err := d.alarms(c.Context())
			if err != nil {
				return err
			}
			if !*all {
				list.onlyStanding()
			}
			zone, err := d.zone(c.Context())
			if err != nil {
				return err
			}
			return printed(c.OutOrStdout(), *asJSON, list, func(w io.Writer) { list.print(w, zone) })
		})
	}
	return c
}

// stands reports whether anyone needs to know of the alarm.
func stands(v alarm.View) bool {
	return v.State != alarm.Normal || v.Shelved || v.Removed
}

func (l *alarmList) onlyStanding() {
	for pump, views := range l.Pumps {
		l.Pumps[pump] = slices.DeleteFunc(slices.Clone(views), func(v alarm.View) bool { return !stands(v) })
	}
}

func (l *alarmList) print(w io.Writer, zone *time.Location) {
	rows := 0
	for _, pump := range slices.Sorted(maps.Keys(l.Pumps)) {
		for _, v := range l.Pumps[pump] {
			if rows == 0 {
				fmt.Fprintln(w, "ALARM\tPRIORITY\tSTATE\tSINCE\tMARKS")
			}
			rows++
			fmt.Fprintf(w, "%s\t%s\t%s\t%s\t%s\n", nameOf(pump, v.Name), priorityOf(v), v.State, since(v, zone), marksOf(v, zone))
		}
	}
	if rows == 0 {
		fmt.Fprintln(w, "no alarms")
	}
}

// priorityOf says of an advisory that it is one: a high one is no alarm.
func priorityOf(v alarm.View) string {
	if v.Class == alarm.Advisory {
		return v.Priority.String() + " advisory"
	}
	return v.Priority.String()
}

func nameOf(pump, name string) string {
	if pump == "" {
		return name
	}
	return pump + "/" + name
}

func since(v alarm.View, zone *time.Location) string {
	if v.State == alarm.Normal || v.RaisedAt.IsZero() {
		return "-"
	}
	return stamped(v.RaisedAt.Wall, zone)
}

func marksOf(v alarm.View, zone *time.Location) string {
	var marks []string
	if v.Shelved {
		marks = append(marks, "shelved by "+v.ShelvedBy+until(v.ShelvedUntil, v.ShelvedLeft, zone))
	}
	if v.Removed {
		marks = append(marks, "out of service by "+v.RemovedBy+until(v.ReviewAt, v.ReviewLeft, zone))
	}
	if v.CarriedBy != "" {
		marks = append(marks, "called by "+v.CarriedBy)
	}
	if v.SuppressedBy != "" {
		marks = append(marks, "suppressed by "+v.SuppressedBy)
	}
	return joined("; ", marks...)
}

// until says when a mark ends; without a clock, how much is left of it.
func until(t time.Time, left time.Duration, zone *time.Location) string {
	if t.IsZero() {
		return " for another " + alarm.Span(left)
	}
	return " until " + stamped(t, zone)
}

func alarmsJournal() *cobra.Command {
	c := &cobra.Command{Use: "journal", Short: "Print the journal, newest first", Args: cobra.NoArgs}
	config := configFlag(c)
	var q journalQuery
	c.Flags().StringVar(&q.Pump, "pump", "", "of one pump only")
	c.Flags().StringVar(&q.Alarm, "alarm", "", "of one alarm only")
	c.Flags().IntVar(&q.Limit, "limit", 50, fmt.Sprintf("at most so many, %d at most", journalMost))
	ago := spanFlag(c.Flags(), "since", 0, "not older than, such as 24h or 7d")
	asJSON := c.Flags().Bool("json", false, "print JSON")
	c.RunE = func(c *cobra.Command, _ []string) error {
		if *ago > 0 {
			q.Since = time.Now().Add(-*ago)
		}
		return atDesk(c.Context(), *config, func(d desk) error {
			lines, err := d.journal(c.Context(), q)
			if err != nil {
				return err
			}
			zone, err := d.zone(c.Context())
			if err != nil {
				return err
			}
			return printed(c.OutOrStdout(), *asJSON, lines, func(w io.Writer) {
				for _, l := range lines {
					fmt.Fprintf(w, "%s\t%s\n", stamped(l.Event.At.Wall, zone), l.Event.Whole(l.Headline))
				}
			})
		})
	}
	return c
}
