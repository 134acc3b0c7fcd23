package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"net/http"
	"os"
	"strconv"
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
	Number   int64     `json:"number"` // by which it is exported; it stays the same
	Pump     string    `json:"pump"`
	At       time.Time `json:"at"` // when the finding changed
	Why      string    `json:"why"`
	Readings int       `json:"readings"`
}

// captures lists them: only one text at a time is held.
func (g *gateway) captures(ctx context.Context) (list []captured, err error) {
	for _, p := range g.config.Pumps {
		err := g.store.EachBlock(ctx, p.ID, captureKind, func(number int64, b store.Block) error {
			list = append(list, described(number, &b))
			return nil
		})
		if err != nil {
			return nil, err
		}
	}
	return list, nil
}

func described(number int64, b *store.Block) captured {
	one := captured{Number: number, Pump: b.Subject, At: b.Start}
	for line := range bytes.Lines(b.Body) {
		if why, is := bytes.CutPrefix(line, []byte("# capture ")); is {
			one.Why = string(bytes.TrimSpace(why))
		}
		if bytes.HasPrefix(line, []byte("reading,")) {
			one.Readings++
		}
	}
	return one
}

// capture gives take the readings file of one.
func (g *gateway) capture(ctx context.Context, number int64, take func(io.Reader) error) error {
	b, found, err := g.store.Block(ctx, captureKind, number)
	if err != nil {
		return err
	}
	if !found {
		return fmt.Errorf("there is no capture %d; see pumpside captures list", number)
	}
	return take(bytes.NewReader(b.Body))
}

func (g *gateway) sendCapture(w http.ResponseWriter, r *http.Request) {
	number, err := strconv.ParseInt(r.PathValue("number"), 10, 64)
	if err == nil {
		err = g.capture(r.Context(), number, func(text io.Reader) error {
			w.Header().Set("Content-Type", "text/csv")
			_, _ = io.Copy(w, text) // a client that left is no concern of ours
			return nil
		})
	}
	if err != nil {
		reply(w, nil, err)
	}
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
	config, asJSON := configFlag(c), c.Flags().Bool("json", false, "print JSON")
	c.RunE = func(c *cobra.Command, _ []string) error {
		return atDesk(c.Context(), *config, func(d desk) error {
			list, err := d.captures(c.Context())
			if err != nil {
				return err
			}
			zone, err := d.zone(c.Context())
			if err != nil {
				return err
			}
			return printed(c.OutOrStdout(), *asJSON, list, func(w io.Writer) {
				if len(list) == 0 {
					fmt.Fprintln(w, "nothing was captured: no finding has changed")
					return
				}
				fmt.Fprintln(w, "NUMBER\tPUMP\tAT\tWHY\tREADINGS")
				for _, one := range list {
					fmt.Fprintf(w, "%d\t%s\t%s\t%s\t%d\n", one.Number, one.Pump, stamped(one.At, zone), strings.ReplaceAll(one.Why, "_", " "), one.Readings)
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
		Args:  asUsed,
	}
	config := configFlag(c)
	c.RunE = func(c *cobra.Command, args []string) error {
		number, err := strconv.ParseInt(args[0], 10, 64)
		if err != nil {
			return misuse{fmt.Errorf("%q is no number of the list", args[0])}
		}
		if store.IsPartOf(statePathIn(*config), args[1]) {
			return fmt.Errorf("export to %q: that is the state file in use", args[1])
		}
		return atDesk(c.Context(), *config, func(d desk) error {
			return d.capture(c.Context(), number, func(text io.Reader) error { return exported(c.OutOrStdout(), args[1], text) })
		})
	}
	return c
}

// exported writes text to a file, - being standard output.
func exported(out io.Writer, path string, text io.Reader) error {
	if path == "-" {
		_, err := io.Copy(out, text)
		return err
	}
	f, err := os.Create(path)
	if err != nil {
		return err
	}
	_, err = io.Copy(f, text)
	return errors.Join(err, f.Close())
}
