package main

import (
	"context"
	"crypto/tls"
	"encoding/json"
	"fmt"
	"net"
	"net/http"
	"time"

	"golang.org/x/sync/errgroup"

	"pumpside/agent/engine"
	"pumpside/agent/poll"
	"pumpside/agent/store"
	"pumpside/configs"
	"pumpside/drivers"
	"pumpside/drivers/modbus"
	"pumpside/drivers/regmap"
	web "pumpside/exporter/page"
	"pumpside/rules/alarm"
	reports "pumpside/rules/report"
	"pumpside/rules/trend"
)

// servePage opens the page's listener and hands its work to the group. Pumps
// are counted all the same while there can be no page.
func (g *gateway) servePage(ctx context.Context, group *errgroup.Group) {
	c := g.config.Page
	if c.Listen == "" {
		return
	}
	p, err := web.New(web.Settings{Loopback: c.Loopback, Secure: c.CertificateFile != "", UsersFile: c.UsersFile}, newPageSource(g))
	if err != nil {
		g.log.Error().Err(err).Msg("there is no page")
		return
	}
	group.Go(func() error {
		secure, ok := g.pageTLS(ctx, c)
		if !ok {
			return nil
		}
		l := g.bind(ctx, "page", c.Listen)
		if l == nil {
			return nil
		}
		if secure != nil {
			l = tls.NewListener(l, secure)
		}
		serveHTTP(ctx, group, l, &http.Server{Handler: p.Handler(), BaseContext: func(net.Listener) context.Context { return ctx }})
		return nil
	})
}

// A pageSource shows the gateway to the page.
type pageSource struct {
	*gateway
	plates  []web.Plate
	site    web.Site
	started time.Time
}

func newPageSource(g *gateway) *pageSource {
	c := g.config
	s := &pageSource{
		gateway: g, started: g.clock.instant().Wall,
		site: web.Site{ID: c.Site.ID, Title: c.Site.Title, Location: c.Site.Location, Hazards: c.Site.Hazards, Zone: c.Site.TimeZone, Units: c.Site.Units, Groups: map[string]string{}, Currency: c.Site.Currency},
	}
	for _, group := range c.Groups {
		s.site.Groups[group.ID] = group.Title
	}
	summaries := c.Summaries()
	for i := range c.Pumps {
		s.plates = append(s.plates, plateOf(c, &c.Pumps[i], summaries[i]))
	}
	return s
}

func plateOf(c *configs.Config, p *configs.Pump, sum configs.Summary) web.Plate {
	plate := web.Plate{
		ID: p.ID, Tag: p.Tag, Location: p.Location, Hazards: p.Hazards, Cylinders: p.Geometry.Cylinders, Cylinder1: p.Geometry.Cylinder1,
		NamesCylinders: p.Geometry.NamesCylinders(), Titles: p.Titles, Parts: p.Parts, Bands: bandsOf(c, p),
	}
	for _, gap := range sum.Missing {
		plate.Gaps = append(plate.Gaps, web.Gap{Wanted: gap.Wanted, Cost: gap.Cost})
	}
	if len(p.Feeds) == len(p.Rules.Signals) {
		in := installationOf(c, p)
		for _, s := range in.Sights() {
			plate.Sights = append(plate.Sights, web.Sight{Failure: s.Failure, Words: sightWords(s), Seen: s.Seen, Advice: s.Advice})
		}
	}
	return plate
}

// bandsOf gives the limits of a pump's signals and the scales of their points.
func bandsOf(c *configs.Config, p *configs.Pump) map[string]web.Band {
	bands := map[string]web.Band{}
	names := map[drivers.Signal]string{}
	for _, s := range p.Rules.Signals {
		names[s.Signal] = s.Signal.String()
		if s.Name != "" {
			names[s.Signal] = s.Name
		}
	}
	for _, limit := range p.Rules.Limits {
		bands[names[limit.Signal]] = web.Band{LowLow: limit.LowLow, Low: limit.Low, High: limit.High, HighHigh: limit.HighHigh}
	}
	for _, f := range p.Feeds {
		row := &c.Devices[f.Device].Map.Points[f.Point]
		scale := row.Valid
		if !scale.Given() {
			scale = row.Loop
		}
		if scale.Given() {
			b := bands[names[f.Signal]]
			low, high := min(scale.Low, scale.High), max(scale.Low, scale.High)
			b.ScaleLow, b.ScaleHigh = &low, &high
			bands[names[f.Signal]] = b
		}
	}
	return bands
}

// View implements page.Source.
func (s *pageSource) View() web.View {
	v := web.View{At: s.clock.instant(), Site: s.site, Own: s.gateway.site.Snapshot(), Pumps: make([]web.Pump, len(s.pumps))}
	for i, p := range s.pumps {
		v.Pumps[i] = web.Pump{Plate: &s.plates[i], Snapshot: p.Snapshot()}
	}
	st := s.writer.Status()
	v.Agent = web.Agent{Version: version, ConfigHash: s.config.Hash, Started: s.started, StoreErr: st.Err, StateBytes: st.FileBytes}
	if s.publisher != nil {
		v.Agent.Broker, v.Agent.Connected, v.Agent.Outbox = true, s.publisher.Facts().Connected, st.OutboxMessages
	}
	return v
}

// Watch implements page.Source.
func (s *pageSource) Watch(pump string) {
	if p, known := s.byID[pump]; known {
		p.Watch()
	}
}

// Names implements page.Source.
func (s *pageSource) Names(pump string, e *alarm.Event) alarm.Site { return s.words.names(pump, e) }

// Journal implements page.Source.
func (s *pageSource) Journal(ctx context.Context, q web.JournalQuery) ([]web.Entry, error) {
	query := store.JournalQuery{Alarm: q.Alarm, From: q.Since, Limit: q.Limit, NewestFirst: true}
	if q.Pump != "" || q.Own {
		query.Subjects = []string{q.Pump}
	}
	rows, err := s.store.Journal(ctx, query)
	if err != nil {
		return nil, err
	}
	entries := make([]web.Entry, len(rows))
	for i, r := range rows {
		e := &alarm.Event{}
		if err := json.Unmarshal(r.Body, e); err != nil {
			return nil, fmt.Errorf("journal entry %d of %q: %w", r.Seq, r.Subject, err)
		}
		entries[i] = web.Entry{Pump: r.Subject, Event: e}
	}
	return entries, nil
}

// Do implements page.Source: the same way as every other order.
func (s *pageSource) Do(ctx context.Context, pump string, c drivers.Command) (*alarm.Event, error) {
	out, err := s.order(ctx, order{Pump: pump, Command: c})
	return out.Event, err
}

// onTheWay is how old a request for "the last hour" may be and still be one.
const onTheWay = 10 * time.Second

// Report implements page.Source.
func (s *pageSource) Report(ctx context.Context, span time.Duration) (*reports.Report, error) {
	return s.report(ctx, span)
}

// Trend implements page.Source: what the file has, and what is in memory still.
func (s *pageSource) Trend(ctx context.Context, q web.TrendQuery) ([]trend.Point, error) {
	p, known := s.byID[q.Pump]
	if !known {
		return nil, fmt.Errorf("there is no pump %q", q.Pump)
	}
	resolution := trend.For(q.From, q.To, s.clock.instant().Wall.Add(-onTheWay), q.Points)
	if resolution != trend.Second {
		blocks, err := s.blocks(ctx, p, resolution, q.From, q.To)
		return trend.Query(blocks, q.Signal, q.From, q.To, q.Points), err
	}
	seconds, err := p.History(ctx, trend.Second)
	if err != nil {
		return nil, err
	}
	points := trend.Query(seconds, q.Signal, q.From, q.To, q.Points)
	return s.minutesBefore(ctx, p, q, points)
}

// minutesBefore puts minutes before the seconds, which reach back to the start
// of the agent at most.
func (s *pageSource) minutesBefore(ctx context.Context, p *engine.Pump, q web.TrendQuery, seconds []trend.Point) ([]trend.Point, error) {
	until := q.To
	if len(seconds) > 0 {
		until = seconds[0].At.Truncate(time.Minute)
	}
	blocks, err := s.blocks(ctx, p, trend.Minute, q.From, until)
	if err != nil {
		return nil, err
	}
	return append(trend.Query(blocks, q.Signal, q.From, until, q.Points), seconds...), nil
}

func (s *pageSource) blocks(ctx context.Context, p *engine.Pump, r trend.Resolution, from, to time.Time) ([]*trend.Block, error) {
	kept, err := s.store.History(ctx, p.Settings.Pump, r.String(), from, to)
	if err != nil {
		return nil, err
	}
	blocks, err := p.History(ctx, r)
	for _, k := range kept {
		b := &trend.Block{}
		if err := b.UnmarshalBinary(k.Body); err != nil {
			return nil, fmt.Errorf("history from %v: %w", k.Start, err)
		}
		blocks = append(blocks, b)
	}
	return blocks, err
}

// Buses implements page.Source.
func (s *pageSource) Buses() []web.Bus {
	var list []web.Bus
	for _, p := range s.pollers {
		b := web.Bus{Bus: p.Settings.ID, Address: fmt.Sprintf("%v %s", p.Settings.Bus.Kind, p.Settings.Bus.Address)}
		facts, raw := p.Facts(), p.Raw()
		if facts != nil {
			b.Load, b.Missed, b.Late = facts.Load, facts.Missed, facts.Late
		}
		for i := range p.Settings.Devices {
			d := pageDevice(&p.Settings.Devices[i], facts, raw, i)
			s.roles(&d, p.Settings.Devices[i].ID)
			b.Devices = append(b.Devices, d)
		}
		list = append(list, b)
	}
	return list
}

// roles notes which signal each point plays, for the unit it is shown in.
func (s *pageSource) roles(d *web.Device, id string) {
	for _, p := range s.config.Pumps {
		for _, f := range p.Feeds {
			if s.config.Devices[f.Device].ID == id && f.Point < len(d.Points) {
				d.Points[f.Point].Name = f.Signal.String()
			}
		}
	}
}

func pageDevice(set *poll.Device, facts *poll.Facts, raw [][]poll.Seen, place int) web.Device {
	d := web.Device{
		Device: set.ID, Unit: int(set.Unit), Failures: []web.Failure{},
		Routine: set.Routine, Slow: set.Slow, FastFor: set.FastFor, FastEvery: set.FastEvery,
	}
	if facts != nil && place < len(facts.Devices) {
		f := &facts.Devices[place]
		d.Known, d.Up, d.Requests = f.Tried, f.Up, f.Requests
		if f.Answers > 0 {
			d.Mean = f.Sum.Seconds() / float64(f.Answers)
		}
		for _, r := range modbus.Reasons() {
			if n := f.Failures[r]; n > 0 {
				d.Failures = append(d.Failures, web.Failure{Reason: r.String(), Count: n})
			}
		}
	}
	for i := range set.Map.Points {
		d.Points = append(d.Points, pagePoint(&set.Map.Points[i], raw, place, i))
	}
	return d
}

func pagePoint(row *regmap.Point, raw [][]poll.Seen, device, place int) web.Point {
	p := web.Point{
		Point: row.Name, Table: row.Table.String(), Address: int(row.Address), Type: row.Type.String(), Class: row.Class.String(),
		Words: []uint16{}, Dimension: row.Unit.Dimension, Reason: drivers.NeverRead,
	}
	if row.Order != regmap.NoOrder {
		p.Order = row.Order.String()
	}
	if raw == nil {
		return p
	}
	seen := &raw[device][place]
	p.Words = append(p.Words, seen.Raw[:seen.RawWords]...)
	p.Quality, p.Reason, p.At = seen.Quality, seen.Reason, seen.At
	if seen.Number == seen.Number { // not NaN
		x := seen.Number
		p.Value = &x
	}
	return p
}
