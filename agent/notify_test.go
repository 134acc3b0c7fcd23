package main

import (
	"errors"
	"fmt"
	"net"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"pumpside/agent/store"
)

func TestNotifierReadsWhatSystemdHasMade(t *testing.T) {
	tests := []struct {
		name        string
		environment map[string]string
		want        notifier
	}{
		{"no systemd", nil, notifier{}},
		{"a socket in the file system", map[string]string{"NOTIFY_SOCKET": "/run/systemd/notify"}, notifier{socket: "/run/systemd/notify"}},
		{"an abstract socket", map[string]string{"NOTIFY_SOCKET": "@notify"}, notifier{socket: "\x00notify"}},
		{"a watchdog", map[string]string{"NOTIFY_SOCKET": "/n", "WATCHDOG_USEC": "120000000", "WATCHDOG_PID": strconv.Itoa(os.Getpid())}, notifier{socket: "/n", watchdog: 2 * time.Minute}},
		{"a watchdog of another process", map[string]string{"NOTIFY_SOCKET": "/n", "WATCHDOG_USEC": "120000000", "WATCHDOG_PID": "1"}, notifier{socket: "/n"}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			got := newNotifier(func(key string) string { return tt.environment[key] })
			if diff := cmp.Diff(tt.want, got, cmp.AllowUnexported(notifier{})); diff != "" {
				t.Error(diff)
			}
		})
	}
}

// A systemd keeps what it is told.
type systemd struct {
	socket string
	mu     sync.Mutex // guards told
	told   []string
}

func newSystemd(t *testing.T) *systemd {
	t.Helper()
	s := &systemd{socket: filepath.Join(t.TempDir(), "notify")}
	conn, err := net.ListenUnixgram("unixgram", &net.UnixAddr{Name: s.socket, Net: "unixgram"})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = conn.Close() })
	go func() {
		b := make([]byte, 4096)
		for {
			n, err := conn.Read(b)
			if err != nil {
				return
			}
			s.mu.Lock()
			s.told = append(s.told, string(b[:n]))
			s.mu.Unlock()
		}
	}()
	return s
}

// count is how many messages have a line that begins with text.
func (s *systemd) count(text string) (n int) {
	s.mu.Lock()
	defer s.mu.Unlock()
	for _, message := range s.told {
		for line := range strings.Lines(message) {
			if strings.HasPrefix(line, text) {
				n++
			}
		}
	}
	return n
}

func TestAgentTellsSystemdThatItIsReadyFedAndStopping(t *testing.T) {
	t.Parallel()
	plant := newPlant(t, running(1))
	told := newSystemd(t)
	config := plant.configure(t, skidSite{Save: "1 s"})
	agent := startIn(t, "", []string{"NOTIFY_SOCKET=" + told.socket, "WATCHDOG_USEC=600000"}, "pumpside", "run", "--config", config)
	eventually(t, "it is ready", func() bool { return told.count("READY=1") == 1 })
	eventually(t, "it feeds the watchdog", func() bool { return told.count("WATCHDOG=1") >= 4 })
	if told.count("STATUS=polling 1 bus(es) for 1 pump(s), configuration ") == 0 {
		t.Errorf("no status among %q", told.told)
	}
	if told.count("STOPPING=1") != 0 {
		t.Error("it says that it stops while it runs")
	}
	if code := agent.stop(t, stopSignal); code != 0 {
		t.Errorf("exit code %d", code)
	}
	eventually(t, "it says that it stops", func() bool { return told.count("STOPPING=1") == 1 })
}

func TestWatchdogIsLeftHungryWhileSomethingStandsStill(t *testing.T) {
	told := newSystemd(t)
	var mu sync.Mutex
	stuck := errors.New("bus skid is not being polled")
	var err error
	well := func() error {
		mu.Lock()
		defer mu.Unlock()
		return err
	}
	n := notifier{socket: told.socket, watchdog: 30 * time.Millisecond}
	done := make(chan error, 1)
	go func() { done <- n.run(t.Context(), "polling", well) }()
	eventually(t, "it is fed", func() bool { return told.count("WATCHDOG=1") >= 2 })
	mu.Lock()
	err = stuck
	mu.Unlock()
	eventually(t, "it says why not", func() bool { return told.count("STATUS=not well: bus skid is not being polled") >= 1 })
	fed := told.count("WATCHDOG=1")
	eventually(t, "it goes on saying so", func() bool { return told.count("STATUS=not well") >= 5 })
	if now := told.count("WATCHDOG=1"); now != fed {
		t.Errorf("the watchdog was fed %d times while something stood still", now-fed)
	}
}

func TestHeadwayFindsWhatStandsStill(t *testing.T) {
	at := time.Now()
	var h headway
	for _, step := range []struct {
		name  string
		done  uint64
		after time.Duration
		want  bool
	}{
		{"the beginning counts as movement", 0, 0, true},
		{"not yet for long", 0, 60 * time.Second, true},
		{"too long", 0, 61 * time.Second, false},
		{"it moves again", 1, 62 * time.Second, true},
		{"and its time counts from there", 1, 122 * time.Second, true},
		{"a count that falls has moved too: failures end", 0, 183 * time.Second, true},
	} {
		if got := h.moved(step.done, at.Add(step.after), time.Minute); got != step.want {
			t.Errorf("%s: moved %v, want %v", step.name, got, step.want)
		}
	}
}

// A restart makes no room on a full disk: it would lose what waits in memory,
// and come again every twelve minutes.
func TestWatchdogIsFedThroughAFullDiskAndNotThroughABrokenStore(t *testing.T) {
	hourAgo, now := time.Now().Add(-time.Hour), time.Now()
	for _, tt := range []struct {
		name   string
		status store.Status
		want   bool // a restart is asked for
	}{
		{"all is well", store.Status{}, false},
		{"a full disk, for an hour", store.Status{Err: fmt.Errorf("commit: %w", syscall.ENOSPC), FailingSince: hourAgo}, false},
		{"a disk that fails, since now", store.Status{Err: syscall.EIO, FailingSince: now}, false},
		{"a disk that fails, for an hour", store.Status{Err: syscall.EIO, FailingSince: hourAgo}, true},
	} {
		if err := hopeless(&tt.status); (err != nil) != tt.want {
			t.Errorf("%s: %v", tt.name, err)
		}
	}
}
