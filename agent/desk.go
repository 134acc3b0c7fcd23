package main

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"time"

	"pumpside/agent/engine"
	"pumpside/agent/store"
	"pumpside/drivers"
	"pumpside/rules"
	"pumpside/rules/alarm"
	reports "pumpside/rules/report"
)

// A desk is what the commands alarms, service, report and backup ask of: the running
// agent over its socket, or the state file itself when no agent runs.
type desk interface {
	zone(ctx context.Context) (*time.Location, error) // of the times people read
	alarms(ctx context.Context) (alarmList, error)
	alert(ctx context.Context, name alarmName) (alert, error)
	tasks(ctx context.Context) (map[string][]rules.TaskView, error)
	book(ctx context.Context) (serviceBook, error)
	journal(ctx context.Context, q journalQuery) ([]journalLine, error)
	report(ctx context.Context, span time.Duration) (*reports.Report, error)
	captures(ctx context.Context) ([]captured, error)
	capture(ctx context.Context, number int64, take func(io.Reader) error) error
	order(ctx context.Context, o order) (outcome, error)
	backup(ctx context.Context, path string) error
}

// alarmList is every alarm, by pump; "" has the site's own.
type alarmList struct {
	Site  string                  `json:"site"`
	At    time.Time               `json:"at"`
	Pumps map[string][]alarm.View `json:"pumps"`
}

// An order is a command to one pump, or to the site with "".
type order struct {
	Pump    string          `json:"pump"`
	Command drivers.Command `json:"command"`
}

// An outcome is what came of an order.
type outcome struct {
	Accepted bool         `json:"accepted"`
	Headline string       `json:"headline"`
	Event    *alarm.Event `json:"event"`
}

// journalMost is the most entries that one query is given.
const journalMost = 5000

// A journalQuery asks for the newest entries, newest first.
type journalQuery struct {
	Pump  string    `json:"pump"` // "" for all
	Alarm string    `json:"alarm"`
	Since time.Time `json:"since"`
	Limit int       `json:"limit"` // 0, and more than journalMost, is journalMost
}

// A journalLine is one entry with its words.
type journalLine struct {
	Pump     string       `json:"pump"`
	Headline string       `json:"headline"`
	Event    *alarm.Event `json:"event"`
}

func (g *gateway) zone(context.Context) (*time.Location, error) { return g.config.Site.TimeZone, nil }

func (g *gateway) alarms(context.Context) (alarmList, error) {
	list := alarmList{Site: g.config.Site.ID, At: g.clock.instant().Wall, Pumps: map[string][]alarm.View{"": g.site.Snapshot().Alarms}}
	for _, s := range g.snapshots() {
		list.Pumps[s.Pump] = s.Alarms
	}
	return list, nil
}

func (g *gateway) tasks(context.Context) (map[string][]rules.TaskView, error) {
	tasks := map[string][]rules.TaskView{}
	for _, s := range g.snapshots() {
		tasks[s.Pump] = s.Tasks
	}
	return tasks, nil
}

func (g *gateway) journal(ctx context.Context, q journalQuery) ([]journalLine, error) {
	if q.Limit <= 0 || q.Limit > journalMost {
		q.Limit = journalMost
	}
	query := store.JournalQuery{Alarm: q.Alarm, From: q.Since, Limit: q.Limit, NewestFirst: true}
	if q.Pump != "" {
		query.Subjects = []string{q.Pump}
	}
	rows, err := g.store.Journal(ctx, query)
	if err != nil {
		return nil, err
	}
	lines := make([]journalLine, 0, len(rows))
	for _, r := range rows {
		var e alarm.Event
		if err := json.Unmarshal(r.Body, &e); err != nil {
			return nil, fmt.Errorf("journal entry %d of %q: %w", r.Seq, r.Subject, err)
		}
		lines = append(lines, journalLine{r.Subject, g.words.render(r.Subject, &e).Headline, &e})
	}
	return lines, nil
}

// order gives a command to the rules and waits for what comes of it.
func (g *gateway) order(ctx context.Context, o order) (outcome, error) {
	ctx, cancel := context.WithTimeoutCause(ctx, 10*time.Second, engine.ErrStopping)
	defer cancel()
	do := g.site.Do
	if o.Pump != "" {
		p, known := g.byID[o.Pump]
		if !known {
			return outcome{}, fmt.Errorf("there is no pump %q; the site has %s", o.Pump, pumpNames(g))
		}
		do = p.Do
	}
	e, err := do(ctx, o.Command)
	if err != nil {
		return outcome{}, err
	}
	return outcome{Accepted: e.Kind != alarm.Refused, Headline: g.words.render(o.Pump, e).Headline, Event: e}, nil
}

func (g *gateway) backup(ctx context.Context, path string) error { return g.store.Backup(ctx, path) }

func pumpNames(g *gateway) string {
	var names []string
	for _, p := range g.config.Pumps {
		names = append(names, p.ID)
	}
	return joined(", ", names...)
}
