package main

import (
	"cmp"
	"fmt"
	"io"
	"os"
	"time"

	"github.com/spf13/cobra"

	"pumpside/configs"
	"pumpside/drivers"
	"pumpside/rules/service"
)

func serviceLives() *cobra.Command {
	c := &cobra.Command{
		Use:   "lives",
		Short: "Say how long parts last, over all pumps, from the states they were found in",
		Args:  cobra.NoArgs,
	}
	config := configFlag(c)
	asJSON := c.Flags().Bool("json", false, "print JSON")
	more := c.Flags().StringArray("with", nil, "records of other gateways too, a `file` of service export --json; may be repeated")
	c.RunE = func(c *cobra.Command, _ []string) error {
		settings, err := loadConfig(*config)
		if err != nil {
			return err
		}
		return atBook(c, *config, func(_ desk, b serviceBook) error {
			fleet := fleetOf(settings, &b)
			for _, path := range *more {
				others, err := fleetIn(path, settings)
				if err != nil {
					return err
				}
				fleet = append(fleet, others...)
			}
			lives := fleet.Lives()
			return printed(c.OutOrStdout(), *asJSON, lives, func(w io.Writer) { printLives(w, lives) })
		})
	}
	return c
}

func fleetOf(settings *configs.Config, b *serviceBook) (fleet service.Fleet) {
	for _, p := range settings.Pumps {
		if book := b.pump(p.ID); book != nil {
			fleet = append(fleet, service.FleetPump{Tasks: p.Rules.Tasks, Ledger: book.Ledger, Now: service.Totals{RunTime: time.Duration(book.RunHours * float64(time.Hour)), Strokes: book.Strokes}})
		}
	}
	return fleet
}

// fleetIn reads pumps of another gateway. Their tasks are taken to be those of
// the same name here; how far they have run since their last record is not in
// the file.
func fleetIn(path string, settings *configs.Config) (fleet service.Fleet, err error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	records, err := decodeRecords(f)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", path, err)
	}
	byPump := map[string][]drivers.ServiceRecord{}
	for _, r := range records {
		byPump[r.Pump] = append(byPump[r.Pump], r)
	}
	tasks := tasksByName(settings)
	for _, list := range byPump {
		var now service.Totals
		for _, r := range list {
			now.RunTime, now.Strokes = max(now.RunTime, r.RunTime), max(now.Strokes, r.Strokes)
		}
		fleet = append(fleet, service.FleetPump{Tasks: tasks, Ledger: list, Now: now})
	}
	return fleet, nil
}

// tasksByName gathers the tasks of all pumps, one of each name.
func tasksByName(settings *configs.Config) (list []service.Task) {
	seen := map[string]bool{}
	for _, p := range settings.Pumps {
		for _, t := range p.Rules.Tasks {
			if !seen[t.Name] {
				seen[t.Name] = true
				list = append(list, t)
			}
		}
	}
	return list
}

func printLives(w io.Writer, lives []service.PartLife) {
	if len(lives) == 0 {
		fmt.Fprintln(w, "no part was renewed twice yet: nothing is known of lives")
		return
	}
	fmt.Fprintln(w, "PART\tMODE\tFAILED\tNOT\tEARLY\tSHAPE\tB10\tLIFE")
	for _, l := range lives {
		shape, b10, life := "-", "-", "-"
		if l.Fit != nil {
			shape, b10, life = fmt.Sprintf("%.2f", l.Fit.Shape), l.Write(l.B10), l.Write(l.Fit.Life)
		}
		fmt.Fprintf(w, "%s\t%s\t%d\t%d\t%d\t%s\t%s\t%s\n", l.Part, cmp.Or(l.Mode, "any"), l.Failures, l.Suspended, l.Infants, shape, b10, life)
	}
	for _, l := range lives {
		fmt.Fprintf(w, "\n%s, %s: %s.\n", l.Part, cmp.Or(l.Mode, "any"), l.Says)
		if l.Fit != nil {
			fmt.Fprintf(w, "  with 90 %% confidence: B10 %s, life %s, shape %.2f to %.2f\n", bounds(&l, l.Bounds), bounds(&l, l.LifeIn), l.ShapeIn.Low, l.ShapeIn.High)
		}
	}
}

func bounds(l *service.PartLife, b *service.Bounds) string {
	return l.Write(b.Low) + " to " + l.Write(b.High)
}
