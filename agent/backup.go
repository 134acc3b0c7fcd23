package main

import (
	"errors"
	"fmt"
	"path/filepath"

	"github.com/spf13/cobra"

	"pumpside/agent/store"
)

func backupCommand() *cobra.Command {
	c := &cobra.Command{
		Use:   "backup FILE",
		Short: "Copy the state file while the agent runs",
		Args:  cobra.ExactArgs(1),
	}
	config := configFlag(c)
	c.RunE = func(c *cobra.Command, args []string) error {
		path, err := filepath.Abs(args[0])
		if err != nil {
			return err
		}
		return atDesk(c.Context(), *config, func(d desk) error {
			if err := d.backup(c.Context(), path); err != nil {
				return err
			}
			_, err := fmt.Fprintf(c.OutOrStdout(), "the state was copied to %s\n", path)
			return err
		})
	}
	return c
}

func restoreCommand() *cobra.Command {
	c := &cobra.Command{
		Use:   "restore FILE",
		Short: "Put a backup in the place of the state file; the agent must be stopped",
		Args:  cobra.ExactArgs(1),
	}
	path := configFlag(c)
	c.RunE = func(c *cobra.Command, args []string) error {
		config, err := loadConfig(*path)
		if err != nil {
			return err
		}
		aside, err := store.Restore(config.Store.Path, args[0])
		if err != nil {
			if _, locked := errors.AsType[*store.LockedError](err); locked {
				return fmt.Errorf("stop the agent first: %w", err)
			}
			return err
		}
		_, err = fmt.Fprintf(c.OutOrStdout(), "restored from %s%s\n", args[0], prefixed("; the file before is now ", aside))
		return err
	}
	return c
}
