package main

import (
	"context"
	"fmt"
	"io"
	"os"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"pumpside/agent/store"
	"pumpside/drivers"
	"pumpside/rules"
)

// Captures are kept as blocks of history of a kind of their own, each as the
// readings file it is exported as.
const (
	captureKind  = "capture"
	capturesKept = 64 // of each pump
)

// captureBlock makes a readings file of a capture.
func captureBlock(pump string, c *rules.Capture) store.Block {
	w := newRowWriter(&rules.Settings{Pump: pump})
	w.text = fmt.Appendf(w.text, "# pumpside readings 1\n# capture %s\n%s\n", c.Why, readingsHeader)
	b := drivers.Batch{Readings: make([]drivers.Reading, 1)}
	at := c.At
	for _, r := range c.Readings {
		at.SinceBoot, at.Wall = r.SinceBoot, c.At.Wall.Add(r.SinceBoot-c.At.SinceBoot)
		b.HalfWidth, b.Readings[0] = r.HalfWidth, drivers.Reading{Signal: r.Signal, Value: r.Value, Quality: drivers.Good}
		w.batch(at, &b, true)
	}
	return store.Block{Subject: pump, Kind: captureKind, Start: c.At.Wall, Stop: at.Wall.Add(time.Millisecond), Body: w.text}
}

// A captured is a capture in the state file.
type captured struct {
	Pump     string    `json:"pump"`
	At       time.Time `json:"at"` // when the finding changed
	Why      string    `json:"why"`
	Readings int       `json:"readings"`
	Text     string    `json:"text"` // a readings file
}

func (g *gateway) captures(ctx context.Context) (list []captured, err error) {
	for _, p := range g.config.Pumps {
		blocks, err := g.store.Blocks(ctx, p.ID, captureKind)
		if err != nil {
			return nil, err
		}
		for _, b := range blocks {
			one := captured{Pump: p.ID, At: b.Start, Text: string(b.Body)}
			for line := range strings.Lines(one.Text) {
				if why, is := strings.CutPrefix(line, "# capture "); is {
					one.Why = strings.TrimSpace(why)
				}
				if strings.HasPrefix(line, "reading,") {
					one.Readings++
				}
			}
			list = append(list, one)
		}
	}
	return list, nil
}

func capturesCommand() *cobra.Command {
	c := &cobra.Command{
		Use:   "captures",
		Short: "List and export the raw pressure around each change of a finding",
		Args:  cobra.NoArgs,
		RunE:  needsCommand,
	}
	c.AddCommand(capturesList(), capturesExport())
	return c
}

func capturesList() *cobra.Command {
	c := &cobra.Command{Use: "list", Short: "List what was captured, oldest first", Args: cobra.NoArgs}
	config, asJSON := configFlag(c), c.Flags().Bool("json", false, "print JSON, with the readings")
	c.RunE = func(c *cobra.Command, _ []string) error {
		return atDesk(c.Context(), *config, func(d desk) error {
			list, err := d.captures(c.Context())
			if err != nil {
				return err
			}
			return printed(c.OutOrStdout(), *asJSON, list, func(w io.Writer) {
				if len(list) == 0 {
					fmt.Fprintln(w, "nothing was captured: no finding has changed")
					return
				}
				fmt.Fprintln(w, "NUMBER\tPUMP\tAT\tWHY\tREADINGS")
				for i, one := range list {
					fmt.Fprintf(w, "%d\t%s\t%sZ\t%s\t%d\n", i+1, one.Pump, one.At.Format(time.DateTime), strings.ReplaceAll(one.Why, "_", " "), one.Readings)
				}
			})
		})
	}
	return c
}

func capturesExport() *cobra.Command {
	c := &cobra.Command{
		Use:   "export NUMBER FILE",
		Short: "Write one of the list as a readings file (CSV), for a spreadsheet or for replay; - is standard output",
		Args:  cobra.ExactArgs(2),
	}
	config := configFlag(c)
	c.RunE = func(c *cobra.Command, args []string) error {
		var number int
		if _, err := fmt.Sscanf(args[0], "%d", &number); err != nil {
			return misuse{fmt.Errorf("%q is no number of the list", args[0])}
		}
		return atDesk(c.Context(), *config, func(d desk) error {
			list, err := d.captures(c.Context())
			if err != nil {
				return err
			}
			if number < 1 || number > len(list) {
				return fmt.Errorf("there is no capture %d; the list has %d", number, len(list))
			}
			if args[1] == "-" {
				_, err = io.WriteString(c.OutOrStdout(), list[number-1].Text)
				return err
			}
			return os.WriteFile(args[1], []byte(list[number-1].Text), 0o644)
		})
	}
	return c
}
