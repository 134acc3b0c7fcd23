package store

import (
	"context"
	"errors"
	"fmt"
	"hash/crc32"
	"maps"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
)

// lived leaves a state file with two pumps' counters and states, a ledger line,
// two entries of which one was delivered, some history, and its copies.
func lived(t *testing.T, path string) (stream string) {
	t.Helper()
	s := start(t, path, Options{})
	for _, pump := range []string{"pump-1", "pump-2"} {
		s.put(t, ChangeSet{
			Subject: pump, Counters: []byte("counters of " + pump), State: State{1, []byte(`{"of":"` + pump + `"}`)},
			Ledger:  []LedgerEntry{{Key: pump, Subject: pump, At: at(noon), Body: []byte(`{"task":"oil"}`)}},
			History: []Block{{Subject: pump, Kind: "1m", Start: noon, Stop: noon.Add(time.Hour), Body: []byte("h")}},
		})
	}
	s.put(t, ChangeSet{Journal: []Entry{entry("pump-1", 1, 0), entry("pump-1", 2, 0)}, Topics: []string{"t"}, Meta: map[string]string{"config_hash": "abc"}})
	s.Delivered(Key{"pump-1", 1})
	stream = s.StreamID()
	s.end(t)
	return stream
}

// damage overwrites n bytes of the file at path from offset on.
func damage(t *testing.T, path string, offset int64, n int, with byte) {
	t.Helper()
	f, err := os.OpenFile(path, os.O_RDWR, 0)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	if _, err := f.WriteAt([]byte(strings.Repeat(string(rune(with)), n)), offset); err != nil {
		t.Fatal(err)
	}
}

// rootPage returns where the first page of a table lies in the file.
func rootPage(t *testing.T, path, table string) (offset int64) {
	t.Helper()
	s, _ := mustOpen2(t, path, Options{})
	defer s.Close()
	err := s.conn.QueryRowContext(context.Background(), "SELECT (rootpage-1)*? FROM sqlite_schema WHERE name = ?", pageSize, table).Scan(&offset)
	if err != nil {
		t.Fatal(err)
	}
	return offset
}

func TestADamagedFileIsSetAsideAndWhatIsGoodIsKept(t *testing.T) {
	both := map[string][]byte{"pump-1": []byte("counters of pump-1"), "pump-2": []byte("counters of pump-2")}
	all := map[string]int{"meta": 1, "state": 2, "ledger": 2, "topic": 1, "journal": 1, "outbox": 1, "command": 0}
	none := map[string]int{"meta": 0, "state": 0, "ledger": 0, "topic": 0, "journal": 0, "outbox": 0, "command": 0}
	but := func(table string) map[string]int {
		m := map[string]int{}
		maps.Copy(m, all)
		m[table] = 0
		return m
	}
	tests := []struct {
		name     string
		harm     func(t *testing.T, path string)
		salvaged map[string]int
		fromCopy bool
		lines    int // of the ledger that come from its copy
	}{
		{"the head of the file is lost", func(t *testing.T, path string) { damage(t, path, 0, 100, 0) }, none, true, 2},
		{"the whole file is noise", func(t *testing.T, path string) { damage(t, path, 0, int(size(path)), 'x') }, none, true, 2},
		{"the counters' page is noise", func(t *testing.T, path string) { damage(t, path, rootPage(t, path, "counters"), pageSize, 'x') }, all, true, 0},
		{"the states' page is blank", func(t *testing.T, path string) { damage(t, path, rootPage(t, path, "state"), pageSize, 0) }, but("state"), true, 0},
		{"the ledger's page is noise", func(t *testing.T, path string) { damage(t, path, rootPage(t, path, "ledger"), pageSize, 'x') }, but("ledger"), true, 2},
		{"no copy is left", func(t *testing.T, path string) {
			damage(t, path, rootPage(t, path, "state"), pageSize, 0)
			removeCopies(t, path)
		}, but("state"), false, 0},
		{"the newest copies are torn", func(t *testing.T, path string) {
			damage(t, path, rootPage(t, path, "state"), pageSize, 0)
			for i := range counterCopies {
				if exists(copyPath(path, i)) {
					damage(t, copyPath(path, i), 40, 10, 'x')
				}
			}
		}, but("state"), false, 0},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			path := stateFile(t)
			stream := lived(t, path)
			tt.harm(t, path)
			s, rec := mustOpen(t, path, Options{})
			if !IsDamage(rec.Damage) || !strings.HasPrefix(rec.SetAside, path+".damaged-") || !exists(rec.SetAside) {
				t.Fatalf("recovery = %+v", rec)
			}
			if diff := cmp.Diff(tt.salvaged, rec.Salvaged); diff != "" {
				t.Errorf("salvaged (-want +got):\n%s", diff)
			}
			if rec.LedgerLines != tt.lines {
				t.Errorf("%d ledger lines from the copy, want %d", rec.LedgerLines, tt.lines)
			}
			if fromCopy := strings.HasPrefix(rec.CountersFrom, path+copySuffix); fromCopy != tt.fromCopy || rec.CountersFrom == "" || rec.CountersAt.IsZero() {
				t.Errorf("counters from %q of %v", rec.CountersFrom, rec.CountersAt)
			}
			if got, _, err := s.Counters(t.Context()); err != nil || !cmp.Equal(got, both) {
				t.Errorf("counters = %q, %v", got, err)
			}
			if got, err := s.Ledger(t.Context()); err != nil || len(got) != 2 {
				t.Errorf("ledger = %v, %v", got, err)
			}
			if s.StreamID() == stream || s.StreamID() == "" {
				t.Errorf("stream id is still %q", s.StreamID())
			}
			if err := s.Check(t.Context()); err != nil {
				t.Errorf("the new file: %v", err)
			}
		})
	}
}

func TestWithoutAnyGoodCountersTheCountBeginsAnewAndRecoverySaysSo(t *testing.T) {
	path := stateFile(t)
	lived(t, path)
	damage(t, path, rootPage(t, path, "counters"), pageSize, 'x')
	removeCopies(t, path)
	s, rec := mustOpen(t, path, Options{})
	if !IsDamage(rec.Damage) || rec.CountersFrom != "" || !rec.CountersAt.IsZero() || rec.Salvaged["state"] != 2 {
		t.Errorf("recovery = %+v", rec)
	}
	if got, _, err := s.Counters(t.Context()); err != nil || len(got) != 0 {
		t.Errorf("counters = %q, %v", got, err)
	}
}

func removeCopies(t *testing.T, path string) {
	t.Helper()
	for i := range counterCopies {
		if err := os.Remove(copyPath(path, i)); err != nil && !os.IsNotExist(err) {
			t.Fatal(err)
		}
	}
}

func TestAStateThatIsNotWhatWasWrittenIsDamage(t *testing.T) {
	path := stateFile(t)
	lived(t, path)
	if err := withRaw(path, `UPDATE state SET body = '{"of":"pump-X"}' WHERE subject = 'pump-1'`); err != nil {
		t.Fatal(err)
	}
	s, rec := mustOpen(t, path, Options{})
	if rec.Damage == nil || !strings.HasSuffix(rec.Damage.Error(), `is damaged: state of "pump-1": checksum does not match`) {
		t.Errorf("damage = %v", rec.Damage)
	}
	states, err := s.States(t.Context())
	if err != nil || len(states) != 1 || string(states["pump-2"].Body) != `{"of":"pump-2"}` {
		t.Errorf("states = %v, %v", states, err)
	}
}

// A state is kept deflated, for it is written often; one that was kept as it is
// is read as well.
func TestAStateIsKeptSmallAndAnOldOneIsRead(t *testing.T) {
	path, long := stateFile(t), `{"of":"pump-1","doubt":"`+strings.Repeat("0.0123,", 1000)+`"}`
	s := start(t, path, Options{})
	s.put(t, ChangeSet{Subject: "pump-1", State: State{1, []byte(long)}})
	if states, err := s.States(t.Context()); err != nil || string(states["pump-1"].Body) != long {
		t.Errorf("states = %v, %v", states, err)
	}
	var size int
	if err := s.read.QueryRowContext(t.Context(), "SELECT length(body) FROM state WHERE subject = 'pump-1'").Scan(&size); err != nil {
		t.Fatal(err)
	}
	if size > len(long)/4 {
		t.Errorf("%d bytes are kept of %d that repeat", size, len(long))
	}
	old := `{"of":"an older agent"}`
	s.end(t)
	if err := withRaw(path, fmt.Sprintf("UPDATE state SET body = '%s', crc = %d WHERE subject = 'pump-1'", old, crc32.Checksum([]byte(old), castagnoli))); err != nil {
		t.Fatal(err)
	}
	again, _ := mustOpen(t, path, Options{})
	states, err := again.States(t.Context())
	if err != nil || string(states["pump-1"].Body) != old {
		t.Errorf("states = %v, %v", states, err)
	}
}

func TestDamageElsewhereIsFoundByCheckAndMendedAtTheNextOpening(t *testing.T) {
	path := stateFile(t)
	lived(t, path)
	damage(t, path, rootPage(t, path, "history"), pageSize, 'x')
	s, rec := mustOpen2(t, path, Options{})
	if rec.Damage != nil {
		t.Errorf("history is not needed to start, but: %v", rec.Damage)
	}
	if err := s.Check(t.Context()); !IsDamage(err) {
		t.Errorf("Check = %v", err)
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	s, rec = mustOpen(t, path, Options{})
	if !IsDamage(rec.Damage) || rec.Salvaged["state"] != 2 || exists(path+suspectSuffix) {
		t.Errorf("recovery = %+v", rec)
	}
	wantUndelivered(t, s, "pump-1", 2)
}

func wantUndelivered(t *testing.T, s *Store, subject string, seqs ...uint64) {
	t.Helper()
	entries, err := s.outbox(t.Context(), 100)
	if err != nil {
		t.Fatal(err)
	}
	var got []uint64
	for _, e := range entries {
		if e.Subject == subject {
			got = append(got, e.Seq)
		}
	}
	if !cmp.Equal(got, seqs) {
		t.Errorf("undelivered of %s: %v, want %v", subject, got, seqs)
	}
}

func TestAWriterThatMeetsDamageEndsTheRun(t *testing.T) {
	path := stateFile(t)
	lived(t, path)
	damage(t, path, rootPage(t, path, "journal_key"), pageSize, 'x')
	s, _ := mustOpen2(t, path, Options{})
	w, err := NewWriter(s)
	if err != nil {
		t.Fatal(err)
	}
	done := make(chan error, 1)
	go func() { done <- w.Run(t.Context()) }()
	if err := w.Put(t.Context(), ChangeSet{Journal: []Entry{entry("pump-1", 3, 0)}}); !errors.Is(err, ErrNotStored) {
		t.Errorf("Put = %v", err)
	}
	if err := <-done; !IsDamage(err) || !strings.HasPrefix(err.Error(), "commit: ") {
		t.Errorf("Run = %v", err)
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	if _, rec := mustOpen(t, path, Options{}); !IsDamage(rec.Damage) {
		t.Errorf("recovery = %+v", rec)
	}
}

func TestALostFileIsMadeFromItsCopies(t *testing.T) {
	for _, lose := range []func(string) error{os.Remove, func(path string) error { return os.Truncate(path, 0) }} {
		path := stateFile(t)
		lived(t, path)
		if err := lose(path); err != nil {
			t.Fatal(err)
		}
		s, rec := mustOpen(t, path, Options{})
		if !rec.Created || rec.Damage != nil || rec.CountersFrom == "" || rec.LedgerLines != 2 {
			t.Errorf("recovery = %+v", rec)
		}
		if got, _, err := s.Counters(t.Context()); err != nil || string(got["pump-2"]) != "counters of pump-2" {
			t.Errorf("counters = %q, %v", got, err)
		}
	}
}

func TestOnlyTheNewestDamagedFilesAreKept(t *testing.T) {
	path := filepath.Join(t.TempDir(), "st[a]te.db") // a name that is a pattern
	for i := range 5 {
		lived(t, path)
		damage(t, path, 0, 100, 0)
		s, rec := mustOpen2(t, path, Options{})
		if rec.SetAside == "" {
			t.Fatalf("round %d: %+v", i, rec)
		}
		if err := s.Close(); err != nil {
			t.Fatal(err)
		}
	}
	left, err := filepath.Glob(escapeGlob(path) + ".damaged-*")
	if err != nil || len(left) != keepAside {
		t.Errorf("%d damaged files are left, %v: %v", len(left), err, left)
	}
}

func TestCopiesAreMadeInTurnAndTheNewestCounts(t *testing.T) {
	path := stateFile(t)
	s, _ := mustOpen(t, path, Options{CopyEvery: time.Hour})
	w, err := NewWriter(s)
	if err != nil {
		t.Fatal(err)
	}
	for hour := range 6 {
		w.Keep(ChangeSet{Subject: "pump-1", Counters: []byte{byte(hour)}})
		if err := w.commit(); err != nil {
			t.Fatal(err)
		}
		// The clock goes back: what is newest does not depend on it.
		w.lastCopy = time.Time{}
		w.housekeep(noon.Add(time.Duration(-hour) * time.Hour))
	}
	newest, name := newestCopy(path)
	if name == "" || newest.Of["pump-1"][0] != 5 || newest.Save != 6 {
		t.Errorf("newest = %+v in %q", newest, name)
	}
	var held []uint64
	for i := range counterCopies {
		if r, ok := readCopy(path, i); ok {
			held = append(held, r.Save)
		}
	}
	if !cmp.Equal(held, []uint64{5, 6, 3, 4}) {
		t.Errorf("copies hold saves %v", held)
	}
}

func TestAnUncleanStopIsNoticed(t *testing.T) {
	path := stateFile(t)
	s := start(t, path, Options{})
	s.put(t, ChangeSet{Journal: []Entry{entry("pump-1", 1, 0)}})
	// What kill -9 leaves: the file and its log as they are now.
	other := stateFile(t)
	for _, suffix := range []string{"", logSuffix} {
		b, err := os.ReadFile(path + suffix)
		if err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(other+suffix, b, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	o, rec := mustOpen(t, other, Options{})
	if diff := cmp.Diff(Recovery{Unclean: true}, rec); diff != "" {
		t.Errorf("recovery (-want +got):\n%s", diff)
	}
	wantUndelivered(t, o, "pump-1", 1)
}

// A stop that could not save is as unclean as a kill: what was sent from memory
// is not in the file.
func TestAStopThatCouldNotSaveIsNoticedAtTheNextStart(t *testing.T) {
	path := stateFile(t)
	s, _, err := Open(path, Options{})
	if err != nil {
		t.Fatal(err)
	}
	w, err := NewWriter(s)
	if err != nil {
		t.Fatal(err)
	}
	w.write = func(*batch, []byte, []Key, Options) (Status, error) {
		return Status{}, errors.New("read-only file system")
	}
	w.Keep(ChangeSet{Journal: []Entry{entry("pump-1", 1, 0)}})
	if err := w.last(); err == nil {
		t.Error("the last commit fails and nobody says so")
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	for i, want := range []bool{true, false} {
		s, rec, err := Open(path, Options{})
		if err != nil {
			t.Fatal(err)
		}
		if rec.Unclean != want {
			t.Errorf("start %d: unclean is %v, want %v", i+1, rec.Unclean, want)
		}
		if err := s.Close(); err != nil {
			t.Fatal(err)
		}
	}
}
