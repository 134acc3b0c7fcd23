package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"slices"
	"sync/atomic"
	"time"

	"github.com/spf13/cobra"

	"pumpside/agent/store"
	"pumpside/configs"
	"pumpside/rules/alarm"
	reports "pumpside/rules/report"
)

// reportSpan is how far the report looks back that is published.
const reportSpan = 24 * time.Hour

// longestReport is how far anybody may look back.
const longestReport = 366 * 24 * time.Hour

// A reporter keeps the day's report fresh.
type reporter struct {
	newest atomic.Pointer[reports.Report]
	news   atomic.Bool // an alarm has changed since
}

// How often the day's report is made anew: when an alarm changed, though not
// again within a minute, and anyway.
const (
	reportBeat  = 10 * time.Second
	reportPause = time.Minute
	reportEvery = 15 * time.Minute
)

// due reports whether the day's report is to be made anew.
func (r *reporter) due(now time.Time) bool {
	last := r.newest.Load()
	if last == nil {
		return true
	}
	age := now.Sub(last.At).Abs()
	return age >= reportEvery || age >= reportPause && r.news.Load()
}

// run makes the day's report until ctx ends.
func (r *reporter) run(ctx context.Context, g *gateway) error {
	beat := time.NewTicker(reportBeat)
	defer beat.Stop()
	for {
		if r.due(g.clock.instant().Wall) {
			r.renew(ctx, g)
		}
		select {
		case <-ctx.Done():
			return nil
		case <-beat.C:
		}
	}
}

func (r *reporter) renew(ctx context.Context, g *gateway) {
	r.news.Store(false)
	made, err := g.report(ctx, reportSpan)
	if err != nil {
		if ctx.Err() == nil {
			g.log.Warn().Err(err).Msg("the day's report cannot be made")
		}
		return
	}
	r.newest.Store(made)
}

// report makes the report of the last span of time.
func (g *gateway) report(ctx context.Context, span time.Duration) (*reports.Report, error) {
	c := g.config
	in := reports.Input{
		Title: c.Site.Title, At: g.clock.instant(), Pumps: g.snapshots(), Own: g.site.Snapshot(), Price: c.Site.EnergyPrice, Heat: c.Site.HeatPrice, Zone: c.Site.TimeZone,
		Plates: platesOf(c), Groups: map[string]string{}, Members: map[string]string{}, Words: g.words.render,
	}
	if g.saved != nil {
		in.Pumps, in.Own, in.Offline = g.saved.pumps, g.saved.site, true
	}
	in.Since = in.At.Wall.Add(-span)
	for i, group := range c.Groups {
		in.Groups[group.ID] = group.Title
		for _, pump := range c.Rules.Groups[i].Pumps {
			in.Members[pump] = group.ID
		}
	}
	journal, full, err := g.reported(ctx, in.Since)
	if err != nil {
		return nil, err
	}
	if in.Journal = journal; full {
		in.Since = journal[0].Event.At.Wall
	}
	return reports.Of(&in), nil
}

// reportedMost is how many entries a report is made of, for the gateway's
// memory's sake; one that would have more begins later.
const reportedMost = 5000

// reported reads what a report since then is made of, oldest first. full: there
// is more.
func (g *gateway) reported(ctx context.Context, since time.Time) (list []reports.Entry, full bool, err error) {
	enough := errors.New("enough")
	err = g.store.EachJournal(ctx, store.JournalQuery{From: since, NewestFirst: true}, func(row store.JournalRow) error {
		e := new(alarm.Event)
		switch err := json.Unmarshal(row.Body, e); {
		case err != nil:
			return fmt.Errorf("journal entry %d of %q: %w", row.Seq, row.Subject, err)
		case !reports.Uses(e):
			return nil
		case len(list) == reportedMost:
			return enough
		}
		list = append(list, reports.Entry{Pump: row.Subject, Event: e})
		return nil
	})
	slices.Reverse(list)
	if errors.Is(err, enough) {
		return list, true, nil
	}
	return list, false, err
}

func platesOf(c *configs.Config) map[string]reports.Plate {
	plates := map[string]reports.Plate{}
	for _, p := range c.Pumps {
		plates[p.ID] = reports.Plate{Tag: p.Tag, Titles: p.Titles, Parts: p.Parts}
	}
	return plates
}

func reportCommand() *cobra.Command {
	c := &cobra.Command{
		Use:   "report",
		Short: "What the control room asks every day; with --broker, of every site at once",
		Long: `report tells what runs, what is stopped and why, whether the glycol is kept moving,
what has changed, what is silenced, what is due and how the alarms do.

With --broker it asks no agent: it reads the retained reports of all sites at an
MQTT broker and lists which pumps need a person today, in what order and with
which kit. A site that is offline or old is told as no news, not as a stop.`,
		Args: cobra.NoArgs,
	}
	config := configFlag(c)
	since := spanFlag(c.Flags(), "since", reportSpan, "how far to look back, such as 24h or 7d")
	all, asJSON := c.Flags().Bool("all", false, "every change, not only the newest"), c.Flags().Bool("json", false, "print JSON")
	fleet := fleetFlags(c)
	c.RunE = func(c *cobra.Command, _ []string) error {
		if *since <= 0 || *since > longestReport {
			return misuse{fmt.Errorf("--since is %v; use a time above zero, a year at most", *since)}
		}
		if fleet.Broker != "" {
			for _, name := range []string{"config", "since", "all"} {
				if c.Flags().Changed(name) {
					return misuse{fmt.Errorf("--%s does not go with --broker: the sites have told the last 24 hours", name)}
				}
			}
			return fleetReport(c, fleet, *asJSON)
		}
		how := reports.Text{All: *all}
		if loaded, err := loadConfig(*config); err == nil { // else atDesk says it
			how.Currency = loaded.Site.Currency
		}
		return atDesk(c.Context(), *config, func(d desk) error {
			r, err := d.report(c.Context(), *since)
			if err != nil {
				return err
			}
			if how.Zone, err = d.zone(c.Context()); err != nil {
				return err
			}
			return printed(c.OutOrStdout(), *asJSON, r, func(w io.Writer) { r.Print(w, how) })
		})
	}
	return c
}
