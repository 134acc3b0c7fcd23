package store

import (
	"context"
	"fmt"
	"path/filepath"
	"testing"
	"time"

	"pumpside/drivers"
)

// noon is a wall time for tests.
var noon = time.Date(2026, 3, 1, 12, 0, 0, 0, time.UTC)

func at(wall time.Time) drivers.Instant {
	return drivers.Instant{Wall: wall, Boot: "boot-1", SinceBoot: time.Hour, Synchronized: true}
}

func entry(subject string, seq uint64, class Class) Entry {
	return Entry{
		Subject: subject, Seq: seq, At: at(noon.Add(time.Duration(seq) * time.Second)), Class: class, Alarm: "low_flow", Occurrence: 1,
		Body: fmt.Appendf(nil, `{"seq":%d}`, seq),
	}
}

func stateFile(t testing.TB) string { return filepath.Join(t.TempDir(), "state.db") }

func mustOpen(t testing.TB, path string, o Options) (*Store, Recovery) {
	t.Helper()
	s, rec, err := Open(path, o)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := s.Close(); err != nil {
			t.Errorf("close: %v", err)
		}
	})
	return s, rec
}

// A session is a store with its writer running.
type session struct {
	*Store
	*Writer
	Found Recovery
	stop  func() error
}

// start opens path and runs its writer until the test ends or end is called.
func start(t testing.TB, path string, o Options) *session {
	t.Helper()
	s, rec, err := Open(path, o)
	if err != nil {
		t.Fatal(err)
	}
	return run(t, s, rec)
}

func run(t testing.TB, s *Store, rec Recovery) *session {
	t.Helper()
	w, err := NewWriter(s)
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- w.Run(ctx) }()
	stopped := false
	ses := &session{Store: s, Writer: w, Found: rec}
	ses.stop = func() error {
		if stopped {
			return nil
		}
		stopped = true
		cancel()
		err := <-done
		if e := s.Close(); err == nil {
			err = e
		}
		return err
	}
	t.Cleanup(func() {
		if err := ses.stop(); err != nil {
			t.Errorf("stop: %v", err)
		}
	})
	return ses
}

// end stops the writer and closes the file.
func (s *session) end(t testing.TB) {
	t.Helper()
	if err := s.stop(); err != nil {
		t.Fatalf("stop: %v", err)
	}
}

func (s *session) put(t testing.TB, c ChangeSet) {
	t.Helper()
	if err := s.Put(context.Background(), c); err != nil {
		t.Fatal(err)
	}
}
