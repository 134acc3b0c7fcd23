package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"time"

	"github.com/rs/zerolog"

	"pumpside/agent/store"
	"pumpside/configs"
	"pumpside/rules"
	"pumpside/rules/site"
)

// lockPatience is how long a state file that is in use is waited for: a command
// without an agent holds it for a moment, and an agent that starts has it
// before it can be asked.
const lockPatience = 5 * time.Second

// atDesk does work at the desk of the agent with that configuration. With no
// agent running it takes the state file's lock and runs the same rules itself.
// While a configuration is being edited the running agent can be asked all the
// same: for that its state file's path is enough.
func atDesk(ctx context.Context, configPath string, work func(desk) error) error {
	config, err := loadConfig(configPath)
	if err != nil {
		agent, none := dial(ctx, statePathIn(configPath))
		if none != nil {
			return err
		}
		fmt.Fprintf(os.Stderr, "%s is not good (see pumpside check); the running agent answers, by the configuration it has in force\n", configPath)
		return work(agent)
	}
	var own *gateway
	err = whileLocked(ctx, func() error {
		agent, err := dial(ctx, config.Store.Path)
		if err == nil {
			return work(agent)
		}
		if errors.Is(err, errNoAgent) {
			own, err = open(config, zerolog.Nop(), nil)
		}
		return err
	})
	if err != nil || own == nil {
		return err
	}
	return errors.Join(own.without(work), own.close())
}

// statePathIn finds the state file that a configuration means which could not
// be loaded, or could not even be read.
func statePathIn(configPath string) string {
	text, _ := os.ReadFile(configPath) // of nothing it is the usual path
	path := configs.StorePath(text)
	if !filepath.IsAbs(path) {
		path = filepath.Join(filepath.Dir(configPath), path)
	}
	return path
}

// whileLocked tries again for a while when a state file is in use, and only
// once more when an agent has it, which will not let go.
func whileLocked(ctx context.Context, try func() error) error {
	for began := time.Now(); ; {
		err := try()
		lock, locked := errors.AsType[*store.LockedError](err)
		if !locked || time.Since(began) > lockPatience {
			return err
		}
		if _, err := dial(ctx, lock.Path); err == nil {
			return try()
		}
		select {
		case <-ctx.Done():
			return err
		case <-time.After(lockPatience / 50):
		}
	}
}

// A saved is how everything stood when it was last saved, with no agent running.
type saved struct {
	pumps []*rules.Snapshot
	site  *site.Snapshot
}

// without works at the desk with the rules and the store at work, but nothing
// polled and nothing published.
func (g *gateway) without(work func(desk) error) error {
	g.saved = &saved{g.snapshots(), g.site.Snapshot()}
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
