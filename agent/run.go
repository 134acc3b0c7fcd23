package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log"
	"os"
	"os/signal"
	"path/filepath"
	"syscall"
	"time"

	"github.com/rs/zerolog"
	"github.com/spf13/cobra"
	"golang.org/x/term"

	"pumpside/configs"
)

// defaultConfig is where the configuration is looked for.
const defaultConfig = "/etc/pumpside/pumpside.yaml"

func configFlag(c *cobra.Command) *string {
	return c.Flags().String("config", defaultConfig, "the configuration `file`")
}

// loadConfig reads and checks a configuration file. Its error is fit to print.
func loadConfig(path string) (*configs.Config, error) {
	text, err := os.ReadFile(path)
	if err != nil {
		return nil, err
	}
	config, err := configs.Load(path, text)
	if err != nil {
		return nil, err
	}
	if !filepath.IsAbs(config.Store.Path) {
		config.Store.Path = filepath.Join(filepath.Dir(path), config.Store.Path)
	}
	if r := &config.Record; r.Folder != "" && !filepath.IsAbs(r.Folder) {
		r.Folder = filepath.Join(filepath.Dir(path), r.Folder)
	}
	return config, nil
}

// loadNew is loadConfig for one that is to replace another: what it names must
// be of use, too, for the one in force works.
func loadNew(path string) (*configs.Config, error) {
	config, err := loadConfig(path)
	if err != nil {
		return nil, err
	}
	if bad := config.Unusable(); len(bad) > 0 {
		return nil, bad
	}
	return config, nil
}

func runCommand() *cobra.Command {
	c := &cobra.Command{
		Use:   "run",
		Short: "Run the agent until SIGTERM; SIGHUP reads the configuration again",
		Args:  cobra.NoArgs,
	}
	path, format := configFlag(c), c.Flags().String("log-format", "", "json or console; overrides the configuration")
	c.RunE = func(c *cobra.Command, _ []string) error {
		if *format != "" && *format != "json" && *format != "console" {
			return misuse{fmt.Errorf("--log-format is %q; use json or console", *format)}
		}
		config, err := loadConfig(*path)
		if err != nil {
			return err
		}
		return runAgent(c.Context(), *path, config, *format)
	}
	return c
}

// A notStarted is why a configuration could not be put in force: its state file
// or its socket cannot be opened.
type notStarted struct{ error }

func (n notStarted) Unwrap() error { return n.error }

// runAgent runs one configuration after the other: a good one that SIGHUP
// finds replaces the one before by a clean stop and start within the process.
// When it proves not to start, the one before comes back in force.
func runAgent(ctx context.Context, path string, config *configs.Config, format string) error {
	hangup := make(chan os.Signal, 1)
	signal.Notify(hangup, syscall.SIGHUP)
	defer signal.Stop(hangup)
	defer context.AfterFunc(ctx, func() { newNotifier(os.Getenv).say("STOPPING=1") })()
	var before *configs.Config // nil: there is none to go back to
	refused := false
	for {
		logger := newLog(os.Stderr, config, format)
		next, err := runOnce(ctx, path, config, refused, logger, hangup)
		_, unstarted := errors.AsType[notStarted](err)
		switch {
		case unstarted && before != nil && ctx.Err() == nil:
			logger.Error().Err(err).Str("config_hash", config.Hash).Msg("the new configuration cannot be put in force; the one before goes on")
			config, before, refused = before, nil, true
		case err != nil || next == nil:
			return err
		default:
			config, before, refused = next, config, false
		}
	}
}

// runOnce runs one configuration until ctx ends, which gives nil, or a new one
// takes its place. refused: the one on disk is another, and was refused.
func runOnce(ctx context.Context, path string, config *configs.Config, refused bool, logger zerolog.Logger, hangup <-chan os.Signal) (*configs.Config, error) {
	ctx, stop := context.WithCancel(ctx)
	defer stop()
	var g *gateway
	err := whileLocked(ctx, func() (err error) {
		g, err = open(config, logger, nil)
		return err
	})
	if err != nil {
		return nil, notStarted{err}
	}
	g.site.Refused(refused)
	for _, bad := range config.Unusable() {
		logger.Error().Err(bad).Msg("a file that the configuration names cannot be used; the agent works without")
	}
	logger.Info().Str("version", version).Str("site", config.Site.ID).Int("pumps", len(config.Pumps)).Str("config_hash", config.Hash).Msg("agent started")
	replaced := make(chan *configs.Config, 1)
	reloading := make(chan struct{})
	go func() {
		defer close(reloading)
		if next := g.awaitReload(ctx, path, hangup); next != nil {
			replaced <- next
			stop()
		}
	}()
	err = g.run(ctx)
	stop()
	<-reloading
	err = errors.Join(err, g.close())
	logger.Info().Msg("agent stopped")
	select {
	case next := <-replaced:
		return next, err
	default:
		return nil, err
	}
}

// awaitReload waits for a SIGHUP that finds a good configuration. A bad one
// changes nothing but the alarm that says so.
func (g *gateway) awaitReload(ctx context.Context, path string, hangup <-chan os.Signal) *configs.Config {
	for {
		select {
		case <-ctx.Done():
			return nil
		case <-hangup:
		}
		next, err := loadNew(path)
		g.site.Refused(err != nil)
		switch {
		case err != nil:
			g.log.Error().Err(err).Msg("the configuration was refused; the one before stays in force")
		case next.Hash == g.config.Hash:
			g.log.Info().Msg("the configuration has not changed")
		default:
			g.log.Info().Str("config_hash", next.Hash).Msg("the configuration has changed")
			return next
		}
	}
}

func isTerminal(w io.Writer) bool {
	f, ok := w.(*os.File)
	return ok && term.IsTerminal(int(f.Fd()))
}

// newLog writes what the agent says about itself. Libraries that use the
// standard logger are routed through it.
func newLog(w io.Writer, config *configs.Config, format string) zerolog.Logger {
	if format == "console" || format == "" && config.Log.Console {
		w = zerolog.ConsoleWriter{Out: w, TimeFormat: time.TimeOnly, NoColor: os.Getenv("NO_COLOR") != "" || !isTerminal(w)}
	}
	level, err := zerolog.ParseLevel(config.Log.Level)
	if err != nil {
		level = zerolog.InfoLevel
	}
	zerolog.TimeFieldFormat = time.RFC3339Nano
	logger := zerolog.New(w).Level(level).With().Timestamp().Logger()
	log.SetFlags(0)
	log.SetOutput(logger.With().Str("from", "library").Logger())
	return logger
}
