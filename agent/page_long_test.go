package main

import (
	"bytes"
	"context"
	"io"
	"net/http"
	"os"
	"os/exec"
	"testing"
	"time"
)

// TestLongOpenPages measures what twenty open pages cost the agent: each
// follows the stream of its screen, and those of a pump ask for their large
// trend every five seconds, as a browser does.
func TestLongOpenPages(t *testing.T) {
	if !*long {
		t.Skip("measures for minutes: give -long")
	}
	folder, address := t.TempDir(), freeAddress(t)
	config := longSkids(t, 2, folder)
	text, err := os.ReadFile(config)
	if err != nil {
		t.Fatal(err)
	}
	text = bytes.Replace(text, []byte(`page: {listen: "off"}`), []byte(`page: {listen: "`+address+`"}`), 1)
	if err := os.WriteFile(config, text, 0o644); err != nil {
		t.Fatal(err)
	}
	agent := exec.Command(build(t, folder), "run", "--config", config)
	agent.Stderr = os.Stderr
	if err := agent.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = agent.Process.Signal(os.Interrupt); _ = agent.Wait() })
	time.Sleep(30 * time.Second)
	const span = 60 * time.Second
	quiet := busy(t, agent.Process.Pid, span)
	ctx, leave := context.WithCancel(t.Context())
	defer leave()
	for i := range 20 {
		screen := []string{"/", "/pump/gp-1", "/pump/gp-1", "/pump/gp-2"}[i%4]
		go fetch(ctx, "http://"+address+"/events?at="+screen)
		if screen == "/" {
			continue
		}
		go func() {
			for ctx.Err() == nil {
				fetch(ctx, "http://"+address+"/api/v1"+screen+"/trend?signal=discharge_pressure&points=700&units=metric")
				time.Sleep(5 * time.Second)
			}
		}()
	}
	time.Sleep(5 * time.Second)
	watched := busy(t, agent.Process.Pid, span)
	t.Logf("twenty open pages: %.1f %% of one core without, %.1f %% with them", 100*quiet, 100*watched)
}

// busy is the share of one core that a process takes over a time.
func busy(t *testing.T, pid int, span time.Duration) float64 {
	t.Helper()
	before := lookAt(t, pid)
	time.Sleep(span)
	return (lookAt(t, pid).cpu - before.cpu).Seconds() / span.Seconds()
}

// fetch reads an answer to its end, or until ctx ends.
func fetch(ctx context.Context, url string) {
	r, err := http.NewRequestWithContext(ctx, http.MethodGet, url, nil)
	if err != nil {
		return
	}
	answer, err := http.DefaultClient.Do(r)
	if err != nil {
		return
	}
	defer answer.Body.Close()
	_, _ = io.Copy(io.Discard, answer.Body)
}
