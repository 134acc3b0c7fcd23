// Command pumpside is the agent beside the pump: it polls the drive and the
// sensors over Modbus, counts hours and strokes, watches service life and
// alarms, and tells the people who need to know. It reads devices only.
package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"os/signal"
	"runtime/debug"
	"strings"
	"syscall"

	"github.com/spf13/cobra"
)

// Exit codes.
const (
	exitDone    = 0
	exitUnwell  = 1 // the thing asked about is not well
	exitMisused = 2 // wrong usage
)

// errUnwell ends a command whose message was already printed.
var errUnwell = errors.New("")

// A misuse is what a command line asks for and cannot be had.
type misuse struct{ error }

// needsCommand is the RunE of a command that only holds others.
func needsCommand(c *cobra.Command, _ []string) error {
	var names []string
	for _, sub := range c.Commands() {
		names = append(names, sub.Name())
	}
	return misuse{fmt.Errorf("%s needs one of %s", c.Name(), strings.Join(names, ", "))}
}

func main() {
	debug.SetGCPercent(40) // a gateway has more time than memory
	os.Exit(pumpside(os.Args[1:]))
}

// pumpside runs one command line and gives its exit code. The first signal
// asks it to stop, the second kills.
func pumpside(args []string) int {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	context.AfterFunc(ctx, stop)
	root := command()
	root.SetArgs(args)
	ran := false
	root.PersistentPreRun = func(*cobra.Command, []string) { ran = true }
	err := root.ExecuteContext(ctx)
	_, misused := errors.AsType[misuse](err)
	switch {
	case err == nil:
		return exitDone
	case !ran || misused:
		fmt.Fprintf(os.Stderr, "pumpside: %v\nSee pumpside --help.\n", err)
		return exitMisused
	case errors.Is(err, errUnwell):
		return exitUnwell
	}
	fmt.Fprintln(os.Stderr, err)
	return exitUnwell
}

func command() *cobra.Command {
	root := &cobra.Command{
		Use:   "pumpside",
		Short: "The agent beside the pump: true hours and strokes, alarms, service life",
		Long: `pumpside runs beside motor-driven triplex diaphragm pumps. It polls the motor
drive and sensors over Modbus, counts hours and strokes, watches service life
and alarms, publishes over MQTT and serves metrics for Prometheus.

It reads devices only. It measures and advises, and is no safety function.`,
		SilenceErrors: true,
		SilenceUsage:  true,
	}
	root.Version = versionLine()
	root.SetVersionTemplate("{{.Version}}\n")
	root.CompletionOptions.HiddenDefaultCmd = true
	root.AddCommand(
		demoCommand(), runCommand(), checkCommand(), probeCommand(), simulateCommand(), replayCommand(), capturesCommand(),
		alarmsCommand(), serviceCommand(), reportCommand(), userCommand(), backupCommand(), restoreCommand(), versionCommand(),
	)
	return root
}
