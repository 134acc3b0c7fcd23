package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net/http"
	"os"
	"path/filepath"
	"time"

	"github.com/spf13/cobra"

	"pumpside/agent/store"
)

func backupCommand() *cobra.Command {
	c := &cobra.Command{
		Use:   "backup FILE",
		Short: "Copy the state file while the agent runs",
		Args:  asUsed,
	}
	config := configFlag(c)
	force := c.Flags().Bool("force", false, "replace FILE if it is there")
	c.RunE = func(c *cobra.Command, args []string) error {
		path, err := filepath.Abs(args[0])
		if err != nil {
			return err
		}
		if _, err := os.Lstat(path); err == nil && !*force {
			return fmt.Errorf("%s is there already; --force replaces it", path)
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

// sendBackup copies the state file beside itself, where the agent may write
// whatever its service is kept from, and hands the copy to whoever asked.
func (g *gateway) sendBackup(w http.ResponseWriter, r *http.Request) {
	g.copying.Lock()
	defer g.copying.Unlock()
	path := g.config.Store.Path + ".outgoing" // a leftover is replaced
	defer os.Remove(path)
	if err := g.backup(r.Context(), path); err != nil {
		reply(w, nil, err)
		return
	}
	_ = http.NewResponseController(w).SetWriteDeadline(time.Time{}) // a slow disk at the other end
	http.ServeFile(w, r, path)
}

// backup writes the agent's copy to path as the person who asked, replacing
// what is there once the copy is complete.
func (s *socketDesk) backup(ctx context.Context, path string) error {
	if store.IsPartOf(s.state, path) {
		return fmt.Errorf("back up to %q: that is the state file in use", path)
	}
	part, err := os.CreateTemp(filepath.Dir(path), filepath.Base(path)+".part-") // its mode is 0600
	if err != nil {
		return err
	}
	defer os.Remove(part.Name())
	err = s.talk(ctx, http.MethodGet, "/backup", nil, func(copied io.Reader) error {
		_, err := io.Copy(part, copied)
		return err
	})
	if err = errors.Join(err, part.Sync(), part.Close()); err != nil {
		return err
	}
	return os.Rename(part.Name(), path)
}

func restoreCommand() *cobra.Command {
	c := &cobra.Command{
		Use:   "restore FILE",
		Short: "Put a backup in the place of the state file; the agent must be stopped",
		Args:  asUsed,
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
