package mqtt

import (
	"context"
	"fmt"
	"math/rand/v2"
	"net"

	"github.com/rs/zerolog"
	"golang.org/x/sync/errgroup"

	"pumpside/drivers"
)

// A Publisher is the agent's one way out over MQTT. The fields are set before
// Run and not changed after.
type Publisher struct {
	Settings Settings
	Site     Site
	Outbox   Outbox
	Names    Names // any goroutine

	// View gives how everything stands now. Run calls it about once a second
	// and on the beat of the telemetry, from one goroutine.
	View func() View

	// Commands takes the commands; needed when the settings enable them.
	Commands Commander

	Now  func() drivers.Instant // the present; any goroutine
	Log  zerolog.Logger
	Dial func(ctx context.Context, network, address string) (net.Conn, error) // nil is the operating system's
	Rand *rand.Rand                                                           // spreads the back-off; nil is seeded by the runtime

	topics   Topics
	facts    facts
	standing standing
	inbox    chan arrival // commands as they came; when full the newest is dropped and counted
	results  chan message // answers to commands; when full the next command waits
	unsent   []message    // answers taken from results and not yet acknowledged
	trouble  string       // with the outbox, as it was logged last
	unmarked []Entry      // acknowledged by the broker, not yet known to the outbox
}

// waitingCommands is the capacity of the two channels of the commands.
const waitingCommands = 16

// Run publishes until ctx ends, and then says offline and returns nil. It
// returns an error only for settings that cannot work. A broker that is away,
// refuses or lies is no error: Run tries again after 1 s, 2 s, up to 60 s.
func (p *Publisher) Run(ctx context.Context) error {
	if err := p.Settings.Validate(); err != nil {
		return fmt.Errorf("mqtt: %w", err)
	}
	p.topics = TopicsOf(p.Site.Name)
	p.standing = standing{}
	p.inbox = make(chan arrival, waitingCommands)
	p.results = make(chan message, waitingCommands)

	group, ctx := errgroup.WithContext(ctx)
	group.Go(func() error { p.keepConnected(ctx); return nil })
	if p.Settings.Commands {
		group.Go(func() error { p.answerCommands(ctx); return nil })
	}
	return group.Wait()
}

// Facts gives the facts of the connection. Any goroutine may call it.
func (p *Publisher) Facts() Facts { return p.facts.get() }

// keepConnected makes one connection after the other until ctx ends.
func (p *Publisher) keepConnected(ctx context.Context) {
	pause := backoff{random: rand.Float64}
	if p.Rand != nil {
		pause.random = p.Rand.Float64
	}
	defer func() { p.facts.stopped(p.Now().Wall) }()
	for ctx.Err() == nil {
		established, err := p.connection(ctx)
		if established {
			pause.reset()
		}
		if ctx.Err() != nil {
			if established && err != nil {
				p.Log.Warn().Err(err).Msg("mqtt: stopped without saying offline; the broker will")
			}
			return
		}
		if news := p.facts.lost(p.Now().Wall, err); news {
			p.Log.Warn().Err(err).Msg("mqtt: not connected; trying again")
		}
		pause.wait(ctx)
	}
}
