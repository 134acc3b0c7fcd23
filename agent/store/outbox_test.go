package store

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"
)

func TestAFullOutboxDropsTheOldestOfTheHighestClassAndCounts(t *testing.T) {
	path := stateFile(t)
	s := start(t, path, Options{OutboxLimit: 3})
	put := func(seq uint64, class Class) {
		t.Helper()
		s.put(t, ChangeSet{Journal: []Entry{entry("pump-1", seq, class)}})
	}
	for seq, class := range []Class{0, 2, 1, 2} {
		put(uint64(seq+1), class)
	}
	wantPending(t, s.Writer, "pump-1/1", "pump-1/3", "pump-1/4")
	put(5, 0)
	wantPending(t, s.Writer, "pump-1/1", "pump-1/3", "pump-1/5")
	put(6, 0)
	wantPending(t, s.Writer, "pump-1/1", "pump-1/5", "pump-1/6")
	put(7, 1) // of a higher class than all the others: it goes itself
	put(8, 0) // all are of one class: the oldest goes
	wantPending(t, s.Writer, "pump-1/5", "pump-1/6", "pump-1/8")
	st := s.Status()
	if st.OutboxDropped != [Classes]uint64{1, 2, 2} || st.OutboxMessages != 3 || !st.OutboxOldest.Equal(noon.Add(5*time.Second)) {
		t.Errorf("status = %+v", st)
	}
	if rows, err := s.Journal(t.Context(), JournalQuery{}); err != nil || len(rows) != 8 {
		t.Errorf("%d entries in the journal, %v; the outbox must not cost any", len(rows), err)
	}
	s.end(t)
	again := start(t, path, Options{})
	if st := again.Status(); st.OutboxDropped != [Classes]uint64{1, 2, 2} || st.OutboxMessages != 3 {
		t.Errorf("after a restart: %+v", st)
	}
}

func TestWithoutAnOutboxNothingIsPending(t *testing.T) {
	s := start(t, stateFile(t), Options{OutboxLimit: -1})
	s.put(t, ChangeSet{Journal: []Entry{entry("pump-1", 1, 0)}})
	wantPending(t, s.Writer)
	if st := s.Status(); st.OutboxMessages != 0 {
		t.Errorf("status = %+v", st)
	}
}

func TestDeliveriesOfABurstAreSoonDurable(t *testing.T) {
	s := start(t, stateFile(t), Options{SaveEvery: time.Hour})
	var set ChangeSet
	var keys []Key
	for seq := range uint64(flushMarks) {
		e := entry("pump-1", seq+1, 0)
		set.Journal, keys = append(set.Journal, e), append(keys, e.Key())
	}
	s.put(t, set)
	s.Delivered(keys[:flushMarks-1]...)
	wantPending(t, s.Writer, fmt.Sprint("pump-1/", flushMarks))
	s.Delivered(keys[flushMarks-1])
	waitFor(t, "a commit", func() bool { return s.Status().OutboxMessages == 0 })
}

func TestAnEntryInTheOutboxWakesItsConsumer(t *testing.T) {
	s := start(t, stateFile(t), Options{SaveEvery: time.Hour})
	s.put(t, ChangeSet{Journal: []Entry{entry("pump-1", 1, 0)}})
	select {
	case <-s.Changed():
	case <-time.After(10 * time.Second):
		t.Error("no signal after a put")
	}
}

// An outboxModel is what must hold whatever happens between senders, a store
// that fails now and then, crashes, and a consumer.
type outboxModel struct {
	t         *rapid.T
	path      string
	store     *Store
	writer    *Writer
	fails     bool
	seq       map[string]uint64 // last put
	waiting   []Key             // put and not delivered, in order
	unstored  map[Key]bool      // of those, not in the file
	delivered []Key             // delivered since the last commit: may come back after a crash
}

func (m *outboxModel) open() {
	s, rec, err := Open(m.path, Options{PutTimeout: time.Nanosecond})
	if err != nil || rec.Damage != nil {
		m.t.Fatalf("open: %v, %+v", err, rec)
	}
	if m.writer, err = NewWriter(s); err != nil {
		m.t.Fatal(err)
	}
	m.store = s
	m.writer.write = func(b *batch, c []byte, k []Key, o Options) (Status, error) {
		if m.fails {
			return Status{}, errors.New("the disk fails")
		}
		return s.commit(b, c, k, o)
	}
}

// put never waits: its answer is always "not stored", as from a slow disk.
func (m *outboxModel) put(t *rapid.T) {
	subject := rapid.SampledFrom([]string{"", "pump-1", "pump-2"}).Draw(t, "subject")
	m.seq[subject]++
	e := entry(subject, m.seq[subject], Class(rapid.IntRange(0, 2).Draw(t, "class")))
	if err := m.writer.Put(context.Background(), ChangeSet{Journal: []Entry{e}}); !errors.Is(err, ErrNotStored) || errors.Is(err, ErrLost) {
		t.Fatalf("Put = %v", err)
	}
	m.waiting = append(m.waiting, e.Key())
	m.unstored[e.Key()] = true
}

func (m *outboxModel) commit(t *rapid.T) {
	m.fails = rapid.Bool().Draw(t, "fails")
	err := m.writer.commit()
	if m.fails {
		return
	}
	if err != nil {
		t.Fatal(err)
	}
	clear(m.unstored)
	m.delivered = nil
}

func (m *outboxModel) deliver(t *rapid.T) {
	got, err := m.writer.Pending(context.Background(), rapid.IntRange(1, 8).Draw(t, "window"))
	if err != nil {
		t.Fatal(err)
	}
	if len(got) == 0 {
		return
	}
	// Confirmations may come in any order, and some never.
	k := got[rapid.IntRange(0, len(got)-1).Draw(t, "which")].Key()
	m.writer.Delivered(k)
	i := slices.Index(m.waiting, k)
	if i < 0 {
		t.Fatalf("%v was pending but is not waiting", k)
	}
	m.waiting = slices.Delete(m.waiting, i, i+1)
	m.delivered = append(m.delivered, k)
}

// crash loses memory: what was not stored is gone, and what was delivered
// since the last commit comes back.
func (m *outboxModel) crash(t *rapid.T) {
	if rapid.IntRange(0, 3).Draw(t, "one in four") != 0 {
		return
	}
	if err := m.store.Close(); err != nil {
		t.Fatal(err)
	}
	m.open()
	for _, k := range m.delivered {
		if !m.unstored[k] {
			m.waiting = append(m.waiting, k)
		}
	}
	m.waiting = slices.DeleteFunc(m.waiting, func(k Key) bool { return m.unstored[k] })
	clear(m.unstored)
	m.delivered = nil
	for subject := range m.seq {
		last, err := m.store.LastSeq(context.Background(), subject)
		if err != nil {
			t.Fatal(err)
		}
		m.seq[subject] = last
	}
}

// check wants what waits to be pending, once each, in order within a subject.
func (m *outboxModel) check(t *rapid.T) {
	got, err := m.writer.Pending(context.Background(), 1<<20)
	if err != nil {
		t.Fatal(err)
	}
	last := map[string]uint64{}
	var keys []Key
	for _, u := range got {
		if u.Seq <= last[u.Subject] {
			t.Fatalf("%v comes after seq %d", u.Key(), last[u.Subject])
		}
		if u.Stored == m.unstored[u.Key()] {
			t.Fatalf("%v: stored = %v", u.Key(), u.Stored)
		}
		last[u.Subject] = u.Seq
		keys = append(keys, u.Key())
	}
	if missing := without(m.waiting, keys); len(missing) > 0 {
		t.Fatalf("lost: %v", missing)
	}
	if extra := without(keys, m.waiting); len(extra) > 0 {
		t.Fatalf("invented: %v", extra)
	}
}

func without(all, some []Key) (rest []Key) {
	for _, k := range all {
		if !slices.Contains(some, k) {
			rest = append(rest, k)
		}
	}
	return rest
}

func TestTheOutboxNeitherLosesNorReordersNorInvents(t *testing.T) {
	dir := t.TempDir()
	rapid.Check(t, func(t *rapid.T) {
		sub, err := os.MkdirTemp(dir, "")
		if err != nil {
			t.Fatal(err)
		}
		m := &outboxModel{t: t, path: filepath.Join(sub, "state.db"), seq: map[string]uint64{}, unstored: map[Key]bool{}}
		m.open()
		defer func() { m.store.Close() }()
		t.Repeat(map[string]func(*rapid.T){"put": m.put, "commit": m.commit, "deliver": m.deliver, "crash": m.crash, "": m.check})
	})
}
