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
	"strings"
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
	return config, readPassword(config)
}

// readPassword fills in the broker's password: the first line of its file.
func readPassword(config *configs.Config) error {
	if config.MQTT == nil || config.MQTT.PasswordFile == "" {
		return nil
	}
	text, err := os.ReadFile(config.MQTT.PasswordFile)
	if err != nil {
		return fmt.Errorf("mqtt.password_file: %w", err)
	}
	config.MQTT.Password, _, _ = strings.Cut(string(text), "\n")
	config.MQTT.Password = strings.TrimSuffix(config.MQTT.Password, "\r")
	return nil
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

// runAgent runs one configuration after the other: a good one that SIGHUP
// finds replaces the one before by a clean stop and start within the process.
func runAgent(ctx context.Context, path string, config *configs.Config, format string) error {
	hangup := make(chan os.Signal, 1)
	signal.Notify(hangup, syscall.SIGHUP)
	defer signal.Stop(hangup)
	defer context.AfterFunc(ctx, func() { newNotifier(os.Getenv).say("STOPPING=1") })()
	for {
		logger := newLog(os.Stderr, config, format)
		next, err := runOnce(ctx, path, config, logger, hangup)
		if err != nil || next == nil {
			return err
		}
		config = next
	}
}

// runOnce runs one configuration until ctx ends, which gives nil, or a new one
// takes its place.
func runOnce(ctx context.Context, path string, config *configs.Config, logger zerolog.Logger, hangup <-chan os.Signal) (*configs.Config, error) {
	ctx, stop := context.WithCancel(ctx)
	defer stop()
	var g *gateway
	err := whileLocked(ctx, func() (err error) {
		g, err = open(config, logger, nil)
		return err
	})
	if err != nil {
		return nil, err
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
		next, err := loadConfig(path)
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
