package store

import (
	"context"
	"fmt"
	"sync"
	"time"
)

// A Writer commits the change sets of all pumps together. [Writer.Run] is the
// one goroutine that writes; every other method may be called from any
// goroutine, before Run and while it runs.
type Writer struct {
	store *Store
	opts  Options
	write func(*batch, []byte, []Key, Options) (Status, error) // the store's commit

	wake    chan struct{} // room for one: someone waits for a commit
	changed chan struct{} // room for one: see Changed

	mu       sync.Mutex // guards what follows
	next     *batch     // gathers until the next commit
	busy     *batch     // being committed; nil between commits
	counters map[string][]byte
	saves    uint64           // of the counters row, see counterRow
	durable  []byte           // the counters row as it was last committed
	dirty    bool             // counters changed since they were last committed
	marks    map[Key]struct{} // delivered, not yet struck from the outbox
	failure  error            // why the last commit failed; nil when it did not
	status   Status
	flushing bool // a delivery burst asked for a commit

	firstPause, lastPause time.Duration // after failed commits: doubles from the first to the last

	// Run's own.
	lastCopy   time.Time
	lastPrune  time.Time
	ledgerDone bool // the ledger's copy is up to date
	backlog    bool // pruning has more to do
}

// NewWriter returns the writer of s. There must be only one, and its Run must
// have returned before s is closed.
func NewWriter(s *Store) (*Writer, error) {
	w := &Writer{
		store:    s,
		write:    s.commit,
		opts:     s.opts,
		wake:     make(chan struct{}, 1),
		changed:  make(chan struct{}, 1),
		next:     &batch{},
		counters: map[string][]byte{},
		saves:    s.saved.Save,
		marks:    map[Key]struct{}{},

		firstPause: time.Second,
		lastPause:  30 * time.Second,
	}
	for pump, packed := range s.saved.Of {
		w.counters[pump] = append([]byte(nil), packed...)
	}
	w.durable = s.saved.pack(nil)
	tx := &tx{ctx: context.Background(), conn: s.conn}
	tx.readStatus(&w.status)
	if tx.err != nil {
		return nil, fmt.Errorf("read the outbox: %w", tx.err)
	}
	return w, nil
}

// Put commits c together with what else waits, and returns nil when it is
// durable. An error for which errors.Is(err, [ErrNotStored]) holds means that
// c is in memory and that the Writer tries again: after a failure, after
// Options.PutTimeout, or when ctx ends. [ErrLost] means that not even that is
// so, [ErrRepeatedSeq] that the rest of c is durable.
func (w *Writer) Put(ctx context.Context, c ChangeSet) error {
	p := &put{done: make(chan error, 1)}
	w.enqueue(c, p)
	timeout := time.NewTimer(w.opts.PutTimeout)
	defer timeout.Stop()
	select {
	case err := <-p.done:
		return err
	case <-timeout.C:
		return w.giveUp(p, fmt.Errorf("no commit within %v", w.opts.PutTimeout))
	case <-ctx.Done():
		return w.giveUp(p, ctx.Err())
	}
}

// enqueue puts c into the next commit. While the store fails p is answered at
// once: waiting would only hold up the pump, and Run tries at its own pace.
func (w *Writer) enqueue(c ChangeSet, p *put) {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.keep(c)
	w.next.add(c, p)
	w.shrink()
	if w.failure == nil {
		signal(w.wake)
		return
	}
	w.next.tell(w.failure)
	signal(w.changed)
}

// giveUp is the end of a Put that no longer waits. The commit may have ended
// in the meantime: then its word counts.
func (w *Writer) giveUp(p *put, why error) error {
	w.mu.Lock()
	defer w.mu.Unlock()
	select {
	case err := <-p.done:
		return err
	default:
	}
	p.told = true
	signal(w.changed)
	return p.answer(why)
}

// Keep takes c for the next commit, at most Options.SaveEvery away, and does
// not wait. It allocates nothing when c has counters of a known pump only, and
// is meant to be called on every beat. Journal entries belong into Put.
func (w *Writer) Keep(c ChangeSet) {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.keep(c)
	w.next.add(c, nil)
	w.shrink()
}

// Saved gives the number of the last save of the counters that is durable, and
// the packed counters of each pump in it; read them only.
func (w *Writer) Saved() (save uint64, of map[string][]byte) {
	w.mu.Lock()
	packed := w.durable
	w.mu.Unlock()
	row, _ := unpackCounters(packed) // of our own packing
	return row.Save, row.Of
}

// keep copies the counters of c.
func (w *Writer) keep(c ChangeSet) {
	if c.Counters == nil {
		return
	}
	w.counters[c.Subject] = append(w.counters[c.Subject][:0], c.Counters...)
	w.dirty = true
}

// shrink holds memory to its limit and counts what it cost.
func (w *Writer) shrink() {
	blocks, entries := w.next.shrink(w.opts.MemoryLimit)
	w.status.LostBlocks += uint64(blocks)
	for class, n := range entries {
		w.status.LostEntries[class] += uint64(n)
	}
}

// Changed has room for one signal: something may have come into the outbox.
// One consumer waits on it and then asks Pending until it has no more.
func (w *Writer) Changed() <-chan struct{} { return w.changed }

func signal(c chan struct{}) {
	select {
	case c <- struct{}{}:
	default:
	}
}
