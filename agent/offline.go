package main

import (
	"context"
	"errors"

	"github.com/rs/zerolog"
)

// atDesk does work at the desk of the agent with that configuration. With no
// agent running it takes the state file's lock and runs the same rules itself.
func atDesk(ctx context.Context, configPath string, work func(desk) error) error {
	config, err := loadConfig(configPath)
	if err != nil {
		return err
	}
	agent, err := dial(ctx, config.Store.Path)
	switch {
	case err == nil:
		return work(agent)
	case !errors.Is(err, errNoAgent):
		return err
	}
	g, err := open(config, zerolog.Nop(), nil)
	if err != nil {
		return err
	}
	return errors.Join(g.without(work), g.close())
}

// without works at the desk with the rules and the store at work, but nothing
// polled and nothing published.
func (g *gateway) without(work func(desk) error) error {
	ctx, fail := context.WithCancelCause(context.Background())
	defer fail(nil)
	keeping := newCrew(fail)
	keeping.add("store", g.writer.Run)
	deciding := newCrew(fail)
	for _, p := range g.pumps {
		deciding.add("pump "+p.Settings.Pump, p.Run)
	}
	deciding.add("site", g.site.Run)
	err := work(g)
	if cause := context.Cause(ctx); err == nil && cause != nil {
		err = cause
	}
	return errors.Join(err, deciding.stop(), keeping.stop())
}
