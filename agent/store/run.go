package store

import (
	"context"
	"errors"
	"fmt"
	"time"
)

// Run commits until ctx ends, then commits what is left and returns nil; who
// puts should have ended before, for nobody commits what comes later. A
// commit that fails is tried again and is no error of Run, unless the file
// proves to be damaged: then the agent must be started anew, and Open sets
// the file aside.
func (w *Writer) Run(ctx context.Context) error {
	beat := time.NewTicker(w.opts.SaveEvery)
	defer beat.Stop()
	for {
		wake, beatC, retry := w.wake, beat.C, (<-chan time.Time)(nil)
		if pause := w.pause(); pause > 0 {
			wake, beatC, retry = nil, nil, time.After(pause)
		}
		select {
		case <-ctx.Done():
			return w.last()
		case <-wake:
		case <-beatC:
		case <-retry:
		}
		if err := w.commit(); IsDamage(err) {
			return errors.Join(fmt.Errorf("commit: %w", err), w.store.suspect())
		}
		w.housekeep(time.Now())
	}
}

// pause returns how long to wait before the next try, 0 when all is well.
func (w *Writer) pause() time.Duration {
	w.mu.Lock()
	defer w.mu.Unlock()
	if w.failure == nil {
		return 0
	}
	return min(w.firstPause<<min(w.status.Failures-1, 10), w.lastPause)
}

// last commits what is left, and leaves fresh copies.
func (w *Writer) last() error {
	w.lastCopy = time.Time{}
	if err := w.commit(); err != nil {
		w.mu.Lock()
		lost := len(w.next.journal)
		w.mu.Unlock()
		_ = writeDurably(w.store.path+unsavedSuffix, nil) // on a disk that takes nothing there is nothing else to do
		return fmt.Errorf("commit at the stop, %d journal entries are lost: %w", lost, err)
	}
	w.copies(time.Now())
	return nil
}

// take makes what has gathered the batch to commit. It returns nil when there
// is nothing to do.
func (w *Writer) take(now time.Time) (b *batch, counters []byte, marks []Key) {
	w.mu.Lock()
	defer w.mu.Unlock()
	if w.next.empty() && !w.dirty && len(w.marks) == 0 {
		return nil, nil, nil
	}
	w.busy, w.next = w.next, &batch{}
	w.flushing = false
	if w.dirty {
		w.saves++
		counters = counterRow{Save: w.saves, At: now, Of: w.counters}.pack(nil)
		w.dirty = false
	}
	for k := range w.marks {
		marks = append(marks, k)
	}
	return w.busy, counters, marks
}

// commit writes what has gathered in one transaction and answers those who
// wait for it.
func (w *Writer) commit() error {
	now := time.Now()
	b, counters, marks := w.take(now)
	if b == nil {
		return nil
	}
	status, err := w.write(b, counters, marks, w.opts)
	w.mu.Lock()
	defer w.mu.Unlock()
	defer signal(w.changed)
	w.busy = nil
	if err != nil {
		w.failed(b, counters != nil, now, err)
		return err
	}
	w.failure = nil
	if counters != nil {
		w.durable = counters
	}
	for _, k := range marks {
		delete(w.marks, k)
	}
	w.status.committed(status, now, time.Since(now))
	if len(b.ledger) > 0 {
		w.ledgerDone = false
	}
	b.tell(nil)
	return nil
}

// failed puts the batch back in front of what came in the meantime.
func (w *Writer) failed(b *batch, counters bool, now time.Time, err error) {
	w.failure = err
	w.dirty = w.dirty || counters
	b.follow(w.next)
	b.tell(err)
	w.next = b
	w.shrink()
	w.status.failed(err, now)
}
