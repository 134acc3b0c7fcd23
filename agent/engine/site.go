package engine

import (
	"context"
	"sync"
	"sync/atomic"
	"time"

	"pumpside/drivers"
	"pumpside/rules/alarm"
	"pumpside/rules/site"
)

// A Sight is what a site sees of the world at a beat.
type Sight struct {
	Store  site.Store
	Outbox site.Outbox
	Groups [][]site.Pump // as in site.Batch
	Alone  []site.Pump   // likewise
}

// A Site is the goroutine around what belongs to no pump.
type Site struct {
	Settings *site.Settings
	Now      func() drivers.Instant
	Look     func() Sight // how everything around it does, now
	Keeper   Keeper
	Tell     func(subject string, events []*alarm.Event)

	state    *site.State
	began    []*alarm.Event // what the start brought, kept when Run begins
	commands chan request
	snapshot atomic.Pointer[site.Snapshot]
	places   map[string]int
	saved    time.Time

	mu      sync.Mutex // guards polls and refused, which others write
	polls   []site.Poll
	refused bool
	started site.Started
}

// Load makes the site ready from what was saved. Call it once, before anything
// else.
func (s *Site) Load(saved *site.Saved, started site.Started) {
	s.commands = make(chan request)
	s.places = map[string]int{}
	for i, d := range s.Settings.Devices {
		s.places[d.ID] = i
	}
	s.state, s.began = site.Start(s.Settings, saved)
	s.started = started
	s.snapshot.Store(s.state.Snapshot(s.Settings))
}

// Snapshot gives how the site stands. Any goroutine may call it; nobody may
// change what it returns.
func (s *Site) Snapshot() *site.Snapshot { return s.snapshot.Load() }

// Polled notes a finished poll of a device. Any goroutine may call it.
func (s *Site) Polled(device string, answered bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.polls = append(s.polls, site.Poll{Device: s.places[device], Answered: answered})
}

// Refused notes whether the configuration on disk was refused.
func (s *Site) Refused(refused bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.refused = refused
}

// Do lets the rules decide on a command and gives the event that came of it.
func (s *Site) Do(ctx context.Context, c drivers.Command) (*alarm.Event, error) {
	return do(ctx, s.commands, c)
}

// Run steps the site until ctx ends, writes its state and returns nil.
func (s *Site) Run(ctx context.Context) error {
	ticker := time.NewTicker(beat)
	defer ticker.Stop()
	s.keep(ctx, s.began)
	for {
		select {
		case <-ctx.Done():
			s.saved = time.Time{}
			s.keep(context.Background(), nil)
			return nil
		case r := <-s.commands:
			var answer *alarm.Event
			for _, e := range s.step(ctx, r.command) {
				if e.CommandID == r.command.ID && e.User == r.command.User {
					answer = e
					break
				}
			}
			r.answer <- answer
		case <-ticker.C:
			s.step(ctx)
		}
		s.snapshot.Store(s.state.Snapshot(s.Settings))
	}
}

func (s *Site) step(ctx context.Context, commands ...drivers.Command) []*alarm.Event {
	sight := s.Look()
	s.mu.Lock()
	b := site.Batch{
		At: s.Now(), Polls: s.polls, Groups: sight.Groups, Alone: sight.Alone, Store: sight.Store, Outbox: sight.Outbox,
		Started: s.started, Refused: s.refused, Commands: commands,
	}
	s.polls, s.started = nil, site.Started{}
	s.mu.Unlock()
	events := site.Step(s.Settings, s.state, &b)
	s.keep(ctx, events)
	return events
}

func (s *Site) keep(ctx context.Context, events []*alarm.Event) {
	if len(events) == 0 && time.Since(s.saved) < stateEvery {
		return
	}
	body, err := s.state.Marshal()
	s.saved = time.Now()
	s.Keeper.Keep(ctx, Record{Events: events, State: body, NoState: err})
	if len(events) > 0 {
		s.Tell("", events)
	}
}
