package main

import (
	"context"
	"errors"
	"fmt"
	"net"
	"os"
	"path/filepath"
	"sync"
	"time"

	"github.com/rs/zerolog"
	"golang.org/x/sync/errgroup"
	"golang.org/x/sys/unix"

	"pumpside/agent/engine"
	"pumpside/agent/poll"
	"pumpside/agent/store"
	"pumpside/configs"
	"pumpside/drivers"
	"pumpside/drivers/quantity"
	"pumpside/exporter/mqtt"
	"pumpside/rules"
	"pumpside/rules/alarm"
	"pumpside/rules/counters"
	"pumpside/rules/site"
	"pumpside/rules/trend"
)

// A gateway is the agent at work under one configuration: everything that is
// wired together.
type gateway struct {
	config *configs.Config
	clock  *clock
	log    zerolog.Logger
	words  words
	told   func(subject string, e *alarm.Event) // what people following along are shown; may be nil

	bound     map[string]net.Listener // opened beforehand, by address; may be nil
	store     *store.Store
	writer    *store.Writer
	pumps     []*engine.Pump
	byID      map[string]*engine.Pump
	site      *engine.Site
	pollers   []*poll.Poller
	publisher *mqtt.Publisher
	recorders []*recorder
	reports   reporter
	saved     *saved     // with no agent running; else nil
	copying   sync.Mutex // guards the copy of the state file that is being handed out
	dropped   uint64     // events the outbox gave up since the file was made, as last seen
	missed    uint64     // batches lost to full inboxes, as last seen
}

// open opens the state file and makes every pump ready from what it holds.
// Close releases the file.
func open(config *configs.Config, log zerolog.Logger, told func(string, *alarm.Event)) (*gateway, error) {
	return openBy(newClock(config.Site.ClockTrusted), config, log, told)
}

// openBy is open by a clock.
func openBy(clock *clock, config *configs.Config, log zerolog.Logger, told func(string, *alarm.Event)) (*gateway, error) {
	g := &gateway{config: config, clock: clock, log: log, words: wordsOf(config), told: told, byID: map[string]*engine.Pump{}}
	outboxLimit := -1 // nobody delivers
	if config.MQTT != nil {
		outboxLimit = config.MQTT.OutboxLimit
	}
	s, recovery, err := store.Open(config.Store.Path, store.Options{
		SaveEvery: config.Store.SaveInterval, JournalAge: config.Store.JournalFor, OutboxLimit: outboxLimit, Now: g.clock.instant,
		HistoryAge:  map[string]time.Duration{trend.Minute.String(): trend.Minute.Keep(), trend.Hour.String(): trend.Hour.Keep()},
		HistoryMost: map[string]int{captureKind: capturesKept},
	})
	if err != nil {
		return nil, err
	}
	g.store = s
	g.tellRecovery(recovery)
	if g.writer, err = store.NewWriter(s); err != nil {
		return nil, errors.Join(err, s.Close())
	}
	g.dropped = given(g.writer.Status())
	if err := g.begin(recovery); err != nil {
		return nil, errors.Join(err, s.Close())
	}
	return g, nil
}

func (g *gateway) tellRecovery(r store.Recovery) {
	switch {
	case r.Damage != nil:
		g.log.Error().Err(r.Damage).Str("set_aside", r.SetAside).Str("counters_from", r.CountersFrom).Time("counters_at", r.CountersAt).Msg("the state file was damaged")
	case r.Created:
		g.log.Info().Str("path", g.config.Store.Path).Msg("new state file")
	case r.Unclean:
		g.log.Warn().Msg("the agent was not stopped cleanly the last time")
	}
	if r.MigratedFrom > 0 {
		g.log.Info().Int("from", r.MigratedFrom).Str("copy", r.KeptCopy).Msg("the state file was brought to the newest schema")
	}
}

// begin starts every subject from what was saved.
func (g *gateway) begin(recovery store.Recovery) error {
	ctx := context.Background()
	states, err := g.store.States(ctx)
	if err != nil {
		return err
	}
	packed, _, err := g.store.Counters(ctx)
	if err != nil {
		return err
	}
	ledgers, err := ledgerByPump(ctx, g.store)
	if err != nil {
		return err
	}
	keep := keeper{g.writer, g.log}
	feeding := g.buses()
	recent := g.recent()
	for i := range g.config.Pumps {
		settings := *g.config.Pumps[i].Rules
		if r := settings.Trend.Recent; r == 0 || r > recent {
			settings.Trend.Recent = recent
		}
		p := &engine.Pump{Settings: &settings, Several: feeding[i] > 1, Now: g.clock.instant, Keeper: keep, Tell: g.tell}
		saved, err := savedPump(states[p.Settings.Pump].Body, packed[p.Settings.Pump])
		if err != nil {
			return fmt.Errorf("pump %s: %w", p.Settings.Pump, err)
		}
		saved = withLedger(saved, ledgers[p.Settings.Pump])
		if saved, err = g.afterJournal(ctx, saved, p.Settings.Pump, recovery.Unclean); err != nil {
			return err
		}
		if r := g.config.Record; r.Folder != "" {
			one := newRecorder(&settings, g.config.Hash, r.Folder, r.Most, r.Keep, g.log)
			g.recorders, p.Recorder = append(g.recorders, one), one
		}
		g.pumps = append(g.pumps, p)
		g.byID[p.Settings.Pump] = p
		if _, _, grouped := g.config.Rules.GroupOf(p.Settings.Pump); grouped {
			p.Group = func() drivers.Group { return g.site.Snapshot().Seen(g.config.Rules, p.Settings.Pump) }
		}
		p.Load(saved)
	}
	g.site = &engine.Site{Settings: g.config.Rules, Now: g.clock.instant, Look: g.look, Keeper: keep, Tell: g.tell}
	saved, err := savedSite(states[""].Body)
	if err != nil {
		return err
	}
	var before uint64
	if saved != nil {
		before = saved.Seq
	}
	seq, err := g.lastSeq(ctx, "", before, recovery.Unclean)
	if err != nil {
		return err
	}
	saved = saved.After(seq)
	g.site.Load(saved, site.Started{First: true, Unclean: recovery.Unclean, Damaged: recovery.Damage != nil})
	return nil
}

// savedPump reads a pump's state; the counters' own row is newer than the
// state, or all that a damaged file left.
func savedPump(state, packed []byte) (*rules.Saved, error) {
	var saved *rules.Saved
	if state != nil {
		s, err := rules.Unmarshal(state)
		if err != nil {
			return nil, err
		}
		saved = s
	}
	if packed == nil {
		return saved, nil
	}
	var c counters.State
	if err := c.UnmarshalBinary(packed); err != nil {
		return nil, err
	}
	if saved == nil {
		saved = rules.OnlyCounters()
	}
	saved.Counters = c
	return saved, nil
}

// afterJournal lets a pump whose state is older than its journal, or lost, go on
// numbering where the journal ends: an entry under a number that is taken would
// reach nobody.
func (g *gateway) afterJournal(ctx context.Context, saved *rules.Saved, pump string, unclean bool) (*rules.Saved, error) {
	var before uint64
	if saved != nil {
		before = saved.Seq
	}
	seq, err := g.lastSeq(ctx, pump, before, unclean)
	if saved == nil && seq > 0 {
		saved = rules.OnlyCounters()
	}
	if saved != nil {
		saved.Seq = seq
	}
	return saved, err
}

// seqStride is how many numbers are left out after a run that was not stopped
// cleanly. While the store fails, entries go out that only memory has; their
// numbers must not be used again, for who has them drops what repeats them.
const seqStride = 1000

// lastSeq is the number after which a subject's entries go on, when its state
// came as far as before.
func (g *gateway) lastSeq(ctx context.Context, subject string, before uint64, unclean bool) (uint64, error) {
	seq, err := g.store.LastSeq(ctx, subject)
	seq = max(seq, before)
	if unclean {
		seq += seqStride
	}
	return seq, err
}

func savedSite(state []byte) (*site.Saved, error) {
	if state == nil {
		return nil, nil
	}
	return site.Unmarshal(state)
}

// recent is how long seconds are kept of all pumps together.
func (g *gateway) recent() time.Duration {
	signals := 0
	for _, p := range g.config.Pumps {
		signals += len(p.Rules.Signals)
	}
	return trend.RecentFor(signals)
}

// buses counts for each pump the buses that feed it.
func (g *gateway) buses() []int {
	counts := make([]int, len(g.config.Pumps))
	for i, p := range g.config.Pumps {
		seen := map[int]bool{}
		for _, f := range p.Feeds {
			seen[g.config.Devices[f.Device].Bus] = true
		}
		counts[i] = len(seen)
	}
	return counts
}

// tell passes events on to the log and to whoever follows along.
func (g *gateway) tell(subject string, events []*alarm.Event) {
	g.reports.news.Store(true)
	for _, e := range events {
		g.log.Info().Str("pump", subject).Str("event", e.Kind.String()).Str("alarm", e.Alarm).Uint64("seq", e.Seq).Msg(g.words.render(subject, e).Headline)
		if g.told != nil {
			g.told(subject, e)
		}
	}
}

// look says how store, outbox and the pumps do. Only the site's goroutine calls it.
func (g *gateway) look() engine.Sight {
	s := g.writer.Status()
	st := site.Store{Failing: s.Err != nil, Wait: s.CommitTook.Seconds(), Disk: diskUsed(filepath.Dir(g.config.Store.Path))}
	g.tellMissed()
	snapshot := func(pump string) *rules.Snapshot { return g.byID[pump].Snapshot() }
	sight := engine.Sight{Store: st, Groups: engine.Parts(g.config.Rules, snapshot), Alone: engine.Alone(g.config.Rules, snapshot)}
	if g.publisher == nil {
		return sight
	}
	dropped := given(s)
	sight.Outbox = site.Outbox{
		Connected: g.publisher.Facts().Connected,
		Filled:    quantity.Ratio(float64(s.OutboxMessages) / float64(g.config.MQTT.OutboxLimit)),
		Dropped:   dropped - g.dropped,
	}
	g.dropped = dropped
	return sight
}

// given counts the events that the outbox gave up since the file was made.
func given(s store.Status) (n uint64) {
	for _, of := range s.OutboxDropped {
		n += of
	}
	return n
}

// tellMissed says when batches were lost because a pump was too busy for them.
func (g *gateway) tellMissed() {
	var missed uint64
	for _, p := range g.pumps {
		missed += p.Dropped()
	}
	if missed > g.missed {
		g.log.Warn().Uint64("batches", missed-g.missed).Msg("readings were lost: a pump's inbox was full")
	}
	g.missed = missed
}

// diskUsed is the share of a file system that is used, 0 when not known.
func diskUsed(folder string) quantity.Ratio {
	var f unix.Statfs_t
	if err := unix.Statfs(folder, &f); err != nil || f.Blocks == 0 {
		return 0
	}
	return quantity.Ratio(1 - float64(f.Bavail)/float64(f.Blocks))
}

// makePollers makes one poller a bus.
func (g *gateway) makePollers() {
	for b, bus := range g.config.Buses {
		p := &poll.Poller{
			Settings: poll.Settings{ID: bus.ID, Bus: bus.Settings},
			Instant:  g.clock.at,
			Deliver:  func(pump int, b drivers.Batch) { g.pumps[pump].Deliver(b) },
			Polled:   g.site.Polled,
			Steady:   func(pump int) bool { return g.pumps[pump].Snapshot().Steady },
			Ramping:  func(pump int) bool { return g.pumps[pump].Snapshot().Ramping },
		}
		for d, device := range g.config.Devices {
			if device.Bus == b {
				p.Settings.Devices = append(p.Settings.Devices, g.polled(d, device))
			}
		}
		g.pollers = append(g.pollers, p)
	}
}

func (g *gateway) polled(place int, d configs.Device) poll.Device {
	out := poll.Device{
		ID: d.ID, Unit: d.Unit, Map: d.Map, Routine: d.Routine, Slow: d.Slow, FastFor: d.FastFor, FastEvery: d.FastEvery,
	}
	for pump, p := range g.config.Pumps {
		for _, f := range p.Feeds {
			if f.Device == place {
				out.Feeds = append(out.Feeds, poll.Feed{Point: f.Point, Pump: pump, Signal: f.Signal})
			}
		}
	}
	return out
}

// run works until ctx ends or something cannot go on. What feeds stops first,
// what keeps stops last, so that nothing is lost on a clean stop.
func (g *gateway) run(ctx context.Context) error {
	ctx, fail := context.WithCancelCause(ctx)
	defer fail(nil)
	g.makePollers()
	g.publisher = g.makePublisher()
	keeping := newCrew(fail)
	keeping.add("store", g.writer.Run)
	recording := newCrew(fail)
	for _, r := range g.recorders {
		recording.add("record", r.Run)
	}
	deciding := newCrew(fail)
	for _, p := range g.pumps {
		deciding.add("pump "+p.Settings.Pump, p.Run)
	}
	deciding.add("site", g.site.Run)

	feeding, feedingCtx := errgroup.WithContext(ctx)
	for _, p := range g.pollers {
		feeding.Go(func() error { return p.Run(feedingCtx) })
	}
	if g.publisher != nil {
		g.reports.renew(ctx, g)
		feeding.Go(func() error { return g.reports.run(feedingCtx, g) })
		feeding.Go(func() error { return g.publisher.Run(feedingCtx) })
	}
	if err := g.serve(feedingCtx, feeding); err != nil {
		fail(notStarted{err})
	}
	feeding.Go(func() error { return newNotifier(os.Getenv).run(feedingCtx, g.doing(), g.wellness()) })
	err := feeding.Wait()
	if err == nil {
		if cause := context.Cause(ctx); !errors.Is(cause, context.Canceled) && !errors.Is(cause, context.DeadlineExceeded) {
			err = cause // one that was told to stop is no failure, one that gave up is
		}
	}
	err = errors.Join(err, deciding.stop())
	for _, r := range g.recorders {
		r.Close()
	}
	return errors.Join(err, recording.stop(), keeping.stop())
}

// close releases the state file.
func (g *gateway) close() error { return g.store.Close() }

// A crew is goroutines that are stopped together, by their own word and not by
// that of those they serve.
type crew struct {
	group *errgroup.Group
	ctx   context.Context
	end   context.CancelFunc
	fail  context.CancelCauseFunc
}

func newCrew(fail context.CancelCauseFunc) *crew {
	ctx, end := context.WithCancel(context.Background())
	group, ctx := errgroup.WithContext(ctx)
	return &crew{group, ctx, end, fail}
}

func (c *crew) add(name string, run func(context.Context) error) {
	c.group.Go(func() error {
		err := run(c.ctx)
		if err != nil {
			err = fmt.Errorf("%s: %w", name, err)
			c.fail(err)
		}
		return err
	})
}

func (c *crew) stop() error {
	c.end()
	return c.group.Wait()
}

// ready says why the agent makes no progress, or nil.
func (g *gateway) ready() error {
	if s := g.writer.Status(); s.Err != nil && time.Since(s.FailingSince) > 10*time.Second {
		return fmt.Errorf("the store has failed since %s: %w", s.FailingSince.UTC().Format(time.RFC3339), s.Err)
	}
	return g.polling()
}

// polling says which bus is not being polled, or nil.
func (g *gateway) polling() error {
	for _, p := range g.pollers {
		if f := p.Facts(); f == nil || time.Since(f.At) > time.Minute {
			return fmt.Errorf("bus %s is not being polled", p.Settings.ID)
		}
	}
	return nil
}
