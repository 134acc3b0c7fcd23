package store

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"golang.org/x/sys/unix"
)

func TestManyPutsShareCommits(t *testing.T) {
	s := start(t, stateFile(t), Options{})
	const pumps, each = 20, 20
	var group sync.WaitGroup
	for p := range pumps {
		group.Go(func() {
			name := fmt.Sprintf("pump-%d", p)
			for seq := range uint64(each) {
				if err := s.Put(context.Background(), ChangeSet{Journal: []Entry{entry(name, seq+1, 0)}}); err != nil {
					t.Error(err)
				}
			}
		})
	}
	group.Wait()
	rows, err := s.Journal(t.Context(), JournalQuery{})
	if err != nil || len(rows) != pumps*each {
		t.Fatalf("%d entries, %v; want %d", len(rows), err, pumps*each)
	}
	last := map[string]uint64{}
	for _, r := range rows {
		if r.Seq != last[r.Subject]+1 {
			t.Errorf("%s: seq %d after %d", r.Subject, r.Seq, last[r.Subject])
		}
		last[r.Subject] = r.Seq
	}
	if c := s.Status().Commits; c >= pumps*each {
		t.Errorf("%d commits for %d puts: nothing was shared", c, pumps*each)
	}
}

func TestWhatIsKeptGoesWithTheNextPut(t *testing.T) {
	s := start(t, stateFile(t), Options{SaveEvery: time.Hour})
	s.Keep(ChangeSet{Subject: "pump-1", Counters: []byte("old")})
	s.Keep(ChangeSet{Subject: "pump-1", Counters: []byte("new"), State: State{1, []byte("{}")}})
	s.Keep(ChangeSet{Subject: "pump-2", Counters: []byte("two")})
	s.put(t, ChangeSet{Journal: []Entry{entry("", 1, 0)}})
	got, saved, err := s.Counters(t.Context())
	if err != nil || string(got["pump-1"]) != "new" || string(got["pump-2"]) != "two" || time.Since(saved) > time.Minute {
		t.Errorf("counters = %q saved %v, %v", got, saved, err)
	}
	if states, err := s.States(t.Context()); err != nil || len(states) != 1 {
		t.Errorf("states = %v, %v", states, err)
	}
}

func TestWhatIsKeptIsSavedOnTheBeatAndAtTheStop(t *testing.T) {
	path := stateFile(t)
	s := start(t, path, Options{SaveEvery: 5 * time.Millisecond})
	s.Keep(ChangeSet{Subject: "pump-1", Counters: []byte("one")})
	waitFor(t, "a commit on the beat", func() bool { return s.Status().Commits > 0 })
	save, saved := s.Saved()
	if save == 0 || string(saved["pump-1"]) != "one" {
		t.Errorf("save %d holds %q", save, saved)
	}
	s.Keep(ChangeSet{Subject: "pump-2", Counters: []byte("two")})
	s.end(t)
	if after, saved := s.Saved(); after <= save || string(saved["pump-2"]) != "two" {
		t.Errorf("after the stop save %d holds %q", after, saved)
	}
	o, _ := mustOpen(t, path, Options{})
	got, _, err := o.Counters(t.Context())
	if err != nil || string(got["pump-1"]) != "one" || string(got["pump-2"]) != "two" {
		t.Errorf("counters = %q, %v", got, err)
	}
	w, err := NewWriter(o)
	if err != nil {
		t.Fatal(err)
	}
	if _, saved := w.Saved(); string(saved["pump-1"]) != "one" {
		t.Errorf("before its first commit a writer shows %q as saved", saved)
	}
}

func TestKeepingCountersAllocatesNothing(t *testing.T) {
	s, _ := mustOpen(t, stateFile(t), Options{})
	w, err := NewWriter(s)
	if err != nil {
		t.Fatal(err)
	}
	c := ChangeSet{Subject: "pump-1", Counters: make([]byte, 200)}
	if n := testing.AllocsPerRun(100, func() { w.Keep(c) }); n != 0 {
		t.Errorf("Keep allocates %v times", n)
	}
}

func TestPutSaysWhenTheStoreIsSlowAndTheEntryGoesOutFromMemory(t *testing.T) {
	s, _ := mustOpen(t, stateFile(t), Options{PutTimeout: 20 * time.Millisecond})
	w, err := NewWriter(s) // nobody runs it: a commit that never ends
	if err != nil {
		t.Fatal(err)
	}
	err = w.Put(context.Background(), ChangeSet{Journal: []Entry{entry("pump-1", 1, 0)}})
	if !errors.Is(err, ErrNotStored) || err.Error() != "not stored yet, kept in memory: no commit within 20ms" {
		t.Errorf("err = %v", err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if err := w.Put(ctx, ChangeSet{Journal: []Entry{entry("pump-1", 2, 0)}}); !errors.Is(err, context.Canceled) || !errors.Is(err, ErrNotStored) {
		t.Errorf("err = %v", err)
	}
	wantPending(t, w, "pump-1/1 memory", "pump-1/2 memory")
	if err := w.commit(); err != nil { // the store is back
		t.Fatal(err)
	}
	wantPending(t, w, "pump-1/1", "pump-1/2")
}

// wantPending compares what Pending gives, as subject/seq.
func wantPending(t *testing.T, w *Writer, want ...string) {
	t.Helper()
	got, err := w.Pending(t.Context(), 1000)
	if err != nil {
		t.Fatal(err)
	}
	var names []string
	for _, u := range got {
		name := fmt.Sprintf("%s/%d", u.Subject, u.Seq)
		if !u.Stored {
			name += " memory"
		}
		names = append(names, name)
	}
	if g, w := strings.Join(names, ", "), strings.Join(want, ", "); g != w {
		t.Errorf("pending\n got %s\nwant %s", g, w)
	}
}

func waitFor(t *testing.T, what string, ok func() bool) {
	t.Helper()
	for range 2000 {
		if ok() {
			return
		}
		time.Sleep(5 * time.Millisecond)
	}
	t.Fatalf("%s: did not come within 10 s", what)
}

func TestAFullStateFileIsSurvived(t *testing.T) {
	s, rec := mustOpen2(t, stateFile(t), Options{FileLimit: 128 << 10})
	w := run(t, s, rec)
	survivesFullDisk(t, w, func() { // on the writer's connection, which takes turns
		if err := s.limitFile(context.Background(), 64<<20); err != nil {
			t.Fatal(err)
		}
	})
}

// mustOpen2 opens without closing: run does that.
func mustOpen2(t *testing.T, path string, o Options) (*Store, Recovery) {
	t.Helper()
	s, rec, err := Open(path, o)
	if err != nil {
		t.Fatal(err)
	}
	return s, rec
}

func TestAFullDiskIsSurvived(t *testing.T) {
	dir := t.TempDir()
	if err := unix.Mount("tmpfs", dir, "tmpfs", 0, "size=512k"); err != nil {
		t.Skipf("mounting a small file system needs root: %v", err)
	}
	t.Cleanup(func() {
		if err := unix.Unmount(dir, 0); err != nil {
			t.Errorf("unmount: %v", err)
		}
	})
	filler := filepath.Join(dir, "somebody-elses")
	if err := os.WriteFile(filler, make([]byte, 200<<10), 0o600); err != nil {
		t.Fatal(err)
	}
	s := start(t, filepath.Join(dir, "state.db"), Options{})
	survivesFullDisk(t, s, func() {
		if err := os.Remove(filler); err != nil {
			t.Fatal(err)
		}
	})
	s.end(t)

	// A gateway that restarts with its disk full comes up all the same.
	if err := os.WriteFile(filler, make([]byte, 1<<20), 0o600); !IsDiskFull(err) {
		t.Fatalf("filling the disk: %v", err)
	}
	again := start(t, filepath.Join(dir, "state.db"), Options{})
	if last, err := again.LastSeq(t.Context(), "pump-1"); err != nil || last == 0 || again.Found.Damage != nil {
		t.Errorf("last seq = %d, %v; %+v", last, err, again.Found)
	}
	err := again.Put(t.Context(), ChangeSet{Journal: []Entry{entry("pump-2", 1, 0)}})
	if !errors.Is(err, ErrNotStored) || !IsDiskFull(err) {
		t.Errorf("Put on a full disk = %v", err)
	}
	if err := os.Remove(filler); err != nil {
		t.Fatal(err)
	}
}

// survivesFullDisk puts entries until the store is full and some more, makes
// room, and wants all of them in the journal and in the outbox, in order.
func survivesFullDisk(t *testing.T, s *session, makeRoom func()) {
	t.Helper()
	s.mu.Lock()
	s.firstPause, s.lastPause = 50*time.Millisecond, 50*time.Millisecond
	s.mu.Unlock()
	var full error
	var want []string
	for seq := uint64(1); len(want) < 400 && (full == nil || s.Status().InMemory < 5); seq++ {
		e := entry("pump-1", seq, 0)
		e.Body = fmt.Appendf(nil, `{"seq":%d,"text":"%s"}`, seq, strings.Repeat("x", 2000))
		if err := s.Put(context.Background(), ChangeSet{Journal: []Entry{e}}); err != nil {
			full = err
		}
		want = append(want, fmt.Sprintf("pump-1/%d", seq))
	}
	if !errors.Is(full, ErrNotStored) || !IsDiskFull(full) {
		t.Fatalf("err = %v, want a full disk", full)
	}
	if st := s.Status(); !IsDiskFull(st.Err) || st.FailingSince.IsZero() {
		t.Errorf("status = %+v", st)
	}
	got, err := s.Pending(t.Context(), 1000)
	if err != nil || len(got) != len(want) || got[len(got)-1].Stored {
		t.Fatalf("%d pending, %v; want %d with the last from memory", len(got), err, len(want))
	}
	makeRoom()
	waitFor(t, "a good commit after room was made", func() bool { return s.Status().Err == nil })
	wantPending(t, s.Writer, want...)
	rows, err := s.Journal(t.Context(), JournalQuery{})
	if err != nil || len(rows) != len(want) {
		t.Errorf("%d entries in the journal, %v; want %d", len(rows), err, len(want))
	}
}

func TestWhenMemoryIsFullTheLeastGoesFirstAndIsCounted(t *testing.T) {
	s, _ := mustOpen(t, stateFile(t), Options{MemoryLimit: 4 * (overhead + len(entry("", 1, 0).Body)), PutTimeout: time.Millisecond})
	w, err := NewWriter(s)
	if err != nil {
		t.Fatal(err)
	}
	ctx := context.Background()
	w.Keep(ChangeSet{History: []Block{{Subject: "pump-1", Kind: "1m", Body: []byte("0123456")}}})
	var errs []string
	for seq, class := range []Class{2, 0, 1, 2, 0, 0, 0} {
		err := w.Put(ctx, ChangeSet{Journal: []Entry{entry("pump-1", uint64(seq+1), class)}})
		errs = append(errs, fmt.Sprint(errors.Is(err, ErrNotStored), errors.Is(err, ErrLost)))
	}
	// The block goes with entry 4, record 1 with 5, record 4 with 6 and advisory 3 with 7.
	if diff := strings.Join(errs, "; "); diff != "true false; true false; true false; true false; true false; true false; true false" {
		t.Errorf("not stored, lost: %s", diff)
	}
	wantPending(t, w, "pump-1/2 memory", "pump-1/5 memory", "pump-1/6 memory", "pump-1/7 memory")
	if st := w.Status(); st.LostBlocks != 1 || st.LostEntries != [Classes]uint64{0, 1, 2} {
		t.Errorf("lost %d blocks and %v entries, want 1 and [0 1 2]", st.LostBlocks, st.LostEntries)
	}
	if err := w.Put(ctx, ChangeSet{Journal: []Entry{entry("pump-1", 8, 2)}}); !errors.Is(err, ErrLost) {
		t.Errorf("err = %v, want that the record found no room", err)
	}
}

func TestASeqIsStoredOnce(t *testing.T) {
	s := start(t, stateFile(t), Options{})
	first := entry("pump-1", 1, 0)
	s.put(t, ChangeSet{Journal: []Entry{first}})
	s.put(t, ChangeSet{Journal: []Entry{first}}) // the same again does no harm
	other := first
	other.Body = []byte(`{"other":true}`)
	err := s.Put(context.Background(), ChangeSet{Subject: "pump-1", State: State{1, []byte("{}")}, Journal: []Entry{other, entry("pump-1", 2, 0)}})
	if !errors.Is(err, ErrRepeatedSeq) || err.Error() != `a journal entry with this seq is already stored: subject "pump-1" seq 1` {
		t.Errorf("err = %v", err)
	}
	rows, err := s.Journal(t.Context(), JournalQuery{})
	if err != nil || len(rows) != 2 || string(rows[0].Body) != string(first.Body) || rows[1].Seq != 2 {
		t.Errorf("journal = %+v, %v", rows, err)
	}
}

func TestCommandIDsAreBounded(t *testing.T) {
	s := start(t, stateFile(t), Options{CommandsSeen: 3})
	for i := range 5 {
		s.put(t, ChangeSet{Commands: []string{fmt.Sprint("c-", i), "c-0"}})
	}
	var seen []bool
	for i := range 5 {
		ok, err := s.Seen(t.Context(), fmt.Sprint("c-", i))
		if err != nil {
			t.Fatal(err)
		}
		seen = append(seen, ok)
	}
	// c-0 comes back as new once three others came after it.
	if fmt.Sprint(seen) != "[true false false true true]" {
		t.Errorf("seen = %v", seen)
	}
}
