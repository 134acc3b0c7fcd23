package main

import (
	"cmp"
	"fmt"
	"io"
	"slices"

	"github.com/spf13/cobra"

	"pumpside/drivers"
	"pumpside/rules"
	"pumpside/rules/service"
)

func serviceCommand() *cobra.Command {
	c := &cobra.Command{Use: "service", Short: "See what is due; record what was done", Args: cobra.NoArgs, RunE: needsCommand}
	c.AddCommand(serviceDue(), serviceRecord())
	return c
}

func serviceRecord() *cobra.Command {
	c := &cobra.Command{
		Use:   "record PUMP TASK",
		Short: "Record that a service task was done: its life begins again",
		Args:  cobra.ExactArgs(2),
	}
	config := configFlag(c)
	comment, asJSON := c.Flags().String("comment", "", "what was found and done"), c.Flags().Bool("json", false, "print JSON")
	c.RunE = func(c *cobra.Command, args []string) error {
		return give(c, *config, *asJSON, order{Pump: args[0], Command: drivers.Command{Verb: drivers.RecordService, Task: args[1], Comment: *comment}})
	}
	return c
}

func serviceDue() *cobra.Command {
	c := &cobra.Command{Use: "due", Short: "List the service tasks, most used first", Args: cobra.NoArgs}
	config := configFlag(c)
	asJSON := c.Flags().Bool("json", false, "print JSON")
	c.RunE = func(c *cobra.Command, _ []string) error {
		return atDesk(c.Context(), *config, func(d desk) error {
			tasks, err := d.tasks(c.Context())
			if err != nil {
				return err
			}
			return printed(c.OutOrStdout(), *asJSON, tasks, func(w io.Writer) { printTasks(w, dueFirst(tasks)) })
		})
	}
	return c
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

func printTasks(w io.Writer, list []dueTask) {
	if len(list) == 0 {
		fmt.Fprintln(w, "no service tasks are configured")
		return
	}
	fmt.Fprintln(w, "PUMP\tTASK\tSTATUS\tUSED\tOF")
	for _, t := range list {
		fmt.Fprintf(w, "%s\t%s\t%s\t%.0f %%\t%s\n", t.pump, t.Task, t.Status, 100*t.Life.Used, interval(t.Life))
	}
}

// interval writes the interval that decides a life.
func interval(l service.Life) string {
	switch l.By {
	case service.ByRunTime:
		return fmt.Sprintf("%.0f h run", l.Limit/3600)
	case service.ByCalendar:
		return fmt.Sprintf("%.0f days", l.Limit/86400)
	case service.ByStrokes:
		return fmt.Sprintf("%.0f strokes per plunger", l.Limit)
	}
	return "-"
}
