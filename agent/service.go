package main

import (
	"cmp"
	"context"
	"fmt"
	"io"
	"os"
	"slices"
	"strings"
	"time"
	"unicode/utf8"

	"github.com/spf13/cobra"
	"golang.org/x/term"

	"pumpside/drivers"
	"pumpside/rules"
	"pumpside/rules/service"
)

func serviceCommand() *cobra.Command {
	c := &cobra.Command{Use: "service", Short: "See what is due; record what was done; plan the visit", Args: cobra.NoArgs, RunE: needsCommand}
	c.AddCommand(serviceDue(), serviceRecord(), serviceUndo(), serviceList(), serviceExport(), serviceImport(), servicePlan(), serviceLives())
	return c
}

// A serviceBook is everything about service, of every pump.
type serviceBook struct {
	At    time.Time  `json:"at"`
	Pumps []pumpBook `json:"pumps"`
}

// A pumpBook is one pump's part of it.
type pumpBook struct {
	Pump     string                  `json:"pump"`
	RunHours float64                 `json:"run_h"`
	Strokes  float64                 `json:"strokes_per_plunger"`
	Tasks    []rules.TaskView        `json:"tasks"`
	Ledger   []drivers.ServiceRecord `json:"ledger"`
}

func (b *serviceBook) pump(id string) *pumpBook {
	i := slices.IndexFunc(b.Pumps, func(p pumpBook) bool { return p.Pump == id })
	if i < 0 {
		return nil
	}
	return &b.Pumps[i]
}

func (g *gateway) book(context.Context) (serviceBook, error) {
	b := serviceBook{At: g.clock.instant().Wall}
	for _, s := range g.snapshots() {
		b.Pumps = append(b.Pumps, pumpBook{Pump: s.Pump, RunHours: s.Totals.RunSeconds / 3600, Strokes: s.Totals.Revolutions, Tasks: s.Tasks, Ledger: s.Ledger})
	}
	return b, nil
}

func (s *socketDesk) book(ctx context.Context) (b serviceBook, err error) {
	err = s.ask(ctx, "GET", "/service", nil, &b)
	return b, err
}

func serviceDue() *cobra.Command {
	c := &cobra.Command{Use: "due", Short: "List the service tasks and when they fall due, most used first", Args: cobra.NoArgs}
	config := configFlag(c)
	asJSON := c.Flags().Bool("json", false, "print JSON")
	c.RunE = func(c *cobra.Command, _ []string) error {
		return atDesk(c.Context(), *config, func(d desk) error {
			tasks, err := d.tasks(c.Context())
			if err != nil {
				return err
			}
			if *asJSON {
				return printed(c.OutOrStdout(), true, tasks, nil)
			}
			zone, err := d.zone(c.Context())
			if err != nil {
				return err
			}
			return printDue(c.OutOrStdout(), dueFirst(tasks), zone, width(c.OutOrStdout()))
		})
	}
	return c
}

// unlimited is the width of what is no terminal.
const unlimited = 1000

// width is that of the terminal written to, in columns.
func width(w io.Writer) int {
	f, ok := w.(*os.File)
	if !ok || !term.IsTerminal(int(f.Fd())) {
		return unlimited
	}
	columns, _, err := term.GetSize(int(f.Fd()))
	if err != nil || columns <= 0 {
		return unlimited
	}
	return columns
}

// A dueTask is one task with its pump.
type dueTask struct {
	pump string
	rules.TaskView
}

// dueFirst lists all tasks, the most used first.
func dueFirst(tasks map[string][]rules.TaskView) (list []dueTask) {
	for pump, views := range tasks {
		for _, t := range views {
			list = append(list, dueTask{pump, t})
		}
	}
	slices.SortFunc(list, func(a, b dueTask) int {
		return cmp.Or(cmp.Compare(b.Life.Used, a.Life.Used), cmp.Compare(a.pump, b.pump), cmp.Compare(a.Task, b.Task))
	})
	return list
}

// statusMarks say with a sign what the status column of a wide table says in
// words.
var statusMarks = map[service.Status]string{service.InLife: "", service.DueSoon: "soon", service.Due: "DUE", service.Overdue: "OVERDUE"}

// printDue writes the list in the first of its forms that fits: all columns,
// those a telephone has room for, or two lines a task.
func printDue(w io.Writer, list []dueTask, zone *time.Location, columns int) error {
	if len(list) == 0 {
		_, err := fmt.Fprintln(w, "no service tasks are configured")
		return err
	}
	var text strings.Builder
	for _, form := range []func(io.Writer, []dueTask, *time.Location){wideTasks, narrowTasks, stackedTasks} {
		text.Reset()
		_ = printed(&text, false, nil, func(w io.Writer) { form(w, list, zone) })
		if fits(text.String(), columns) {
			break
		}
	}
	_, err := io.WriteString(w, text.String())
	return err
}

func fits(text string, columns int) bool {
	for line := range strings.Lines(text) {
		if utf8.RuneCountInString(strings.TrimRight(line, " \n")) > columns {
			return false
		}
	}
	return true
}

func wideTasks(w io.Writer, list []dueTask, zone *time.Location) {
	fmt.Fprintln(w, "PUMP\tTASK\tSTATUS\tUSED\tOF\tDUE\tLIKELY (8 OF 10)")
	for _, t := range list {
		fmt.Fprintf(w, "%s\t%s\t%s\t%.0f %%\t%s\t%s\t%s\n", t.pump, t.Task, t.Status, service.Percent(t.Life.Used), interval(t.Life), dueDate(t.Window.Due, zone), band(t.Window.Due, zone))
	}
}

func narrowTasks(w io.Writer, list []dueTask, zone *time.Location) {
	fmt.Fprintln(w, "PUMP\tTASK\tUSED\tDUE\t")
	for _, t := range list {
		fmt.Fprintf(w, "%s\t%s\t%.0f %%\t%s\t%s\n", t.pump, t.Task, service.Percent(t.Life.Used), dueDate(t.Window.Due, zone), statusMarks[t.Status])
	}
}

func stackedTasks(w io.Writer, list []dueTask, zone *time.Location) {
	for _, t := range list {
		fmt.Fprintf(w, "%s %s: %.0f %% used\n  %s\n", t.pump, t.Task, service.Percent(t.Life.Used), joined(" ", statusMarks[t.Status], dueDate(t.Window.Due, zone)))
	}
}

// dueDate writes the median of a forecast.
func dueDate(f service.Forecast, zone *time.Location) string {
	switch {
	case f.Why != "":
		return f.Why
	case f.By == service.ByCondition && f.Early.Equal(f.Late):
		return "now: a finding"
	case f.By == service.ByCondition:
		return dayOf(f.Median, zone) + " by trend"
	case f.Median.IsZero():
		return "over 3 years"
	case f.AtLatest:
		return "latest " + dayOf(f.Median, zone)
	}
	return dayOf(f.Median, zone)
}

// band writes the dates that hold it in eight of ten cases, or the soonest one
// where nobody can tell.
func band(f service.Forecast, zone *time.Location) string {
	switch {
	case !f.Soonest.IsZero():
		return "no sooner than " + dayOf(f.Soonest, zone)
	case f.Why != "" || f.Median.IsZero() || f.Early.Equal(f.Late):
		return "-"
	case f.Late.IsZero():
		return dayOf(f.Early, zone) + " … later"
	}
	return dayOf(f.Early, zone) + " … " + dayOf(f.Late, zone)
}

// dayOf writes a day the same way everywhere: the one it is at the site.
func dayOf(t time.Time, zone *time.Location) string { return t.In(zone).Format(time.DateOnly) }

// interval writes the interval that decides a life.
func interval(l service.Life) string {
	switch l.By {
	case service.ByRunTime:
		return fmt.Sprintf("%.0f h run", l.Limit/3600)
	case service.ByWarmTime:
		return fmt.Sprintf("%.0f h by oil temperature", l.Limit/3600)
	case service.ByCalendar:
		return fmt.Sprintf("%.0f days", l.Limit/86400)
	case service.ByStrokes:
		return fmt.Sprintf("%.0f strokes per plunger", l.Limit)
	case service.ByWorn:
		return fmt.Sprintf("%.0f strokes by pressure", l.Limit)
	case service.ByTable:
		return "interval table"
	case service.ByCondition:
		return "finding"
	}
	return "-"
}
