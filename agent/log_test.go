package main

import (
	"io"
	"os"
	"os/exec"
	"strings"
	"testing"

	"pumpside/simulator"
)

func TestLogIsColouredOnlyForAPersonWhoWantsIt(t *testing.T) {
	t.Parallel()
	p := newPlant(t, standing(1))
	config := p.configure(t, skidSite{})
	const escape = "\x1b["
	for _, tt := range []struct {
		name, format, noColour string
		terminal, want         bool
	}{
		{"on a terminal", "console", "", true, true},
		{"on a terminal with NO_COLOR", "console", "1", true, false},
		{"in a file", "console", "", false, false},
		{"JSON on a terminal", "json", "", true, false},
	} {
		t.Run(tt.name, func(t *testing.T) {
			var said utterance
			c := exec.Command("pumpside", "run", "--config", config, "--log-format", tt.format)
			c.Env = append(os.Environ(), "NO_COLOR="+tt.noColour)
			c.Stderr = &said
			if tt.terminal {
				c.Stderr = terminal(t, &said)
			}
			if err := c.Start(); err != nil {
				t.Fatal(err)
			}
			eventually(t, "the agent starts", func() bool { return strings.Contains(said.String(), "agent started") })
			_ = c.Process.Signal(os.Interrupt)
			_ = c.Wait()
			if got := strings.Contains(said.String(), escape); got != tt.want {
				t.Errorf("coloured: %t, want %t\n%q", got, tt.want, said.String())
			}
		})
	}
}

// terminal is a pseudo-terminal whose other side is copied to w.
func terminal(t *testing.T, w io.Writer) *os.File {
	t.Helper()
	pty, err := simulator.OpenPty()
	if err != nil {
		t.Fatal(err)
	}
	far, err := os.OpenFile(pty.Path, os.O_RDWR, 0)
	if err != nil {
		t.Fatal(err)
	}
	copied := make(chan struct{})
	go func() { defer close(copied); _, _ = io.Copy(w, pty) }()
	t.Cleanup(func() { _ = far.Close(); _ = pty.Close(); <-copied })
	return far
}
