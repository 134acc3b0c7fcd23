package store

import (
	"context"
	"database/sql"
	"fmt"
)

// An Undelivered is a journal entry that nobody has confirmed yet.
type Undelivered struct {
	Entry
	Stored bool // false: the file has not taken it, it comes from memory
}

// flushMarks is how many deliveries wait for a commit of their own; fewer go
// with the next one, and would be repeated after a crash.
const flushMarks = 64

// Delivered strikes entries from the outbox. It does not wait: after a crash
// the last ones may be delivered again.
func (w *Writer) Delivered(keys ...Key) {
	w.mu.Lock()
	defer w.mu.Unlock()
	for _, k := range keys {
		w.marks[k] = struct{}{}
	}
	if len(w.marks) >= flushMarks && !w.flushing {
		w.flushing = true
		signal(w.wake)
	}
}

// Pending returns up to limit undelivered entries, in the order of the
// journal: for one subject in the order of Seq. Entries that the store could
// not take come last. When the file cannot be read it returns those and the
// error.
func (w *Writer) Pending(ctx context.Context, limit int) ([]Undelivered, error) {
	if w.opts.OutboxLimit < 0 {
		return nil, nil
	}
	// Memory first: what is committed between the two looks is then found in
	// the file, and nothing that came later can overtake it.
	memory, marks := w.inMemory()
	stored, err := w.store.outbox(ctx, limit+len(marks))
	var out []Undelivered
	seen := marks
	for _, e := range append(stored, memory...) {
		if _, done := seen[e.Key()]; done || len(out) == limit {
			continue
		}
		seen[e.Key()] = struct{}{}
		out = append(out, e)
	}
	if err != nil {
		return out, fmt.Errorf("read the outbox: %w", err)
	}
	return out, nil
}

// inMemory returns the entries whose senders were told that they are not
// stored, and what was delivered but not struck.
func (w *Writer) inMemory() (entries []Undelivered, marks map[Key]struct{}) {
	w.mu.Lock()
	defer w.mu.Unlock()
	marks = make(map[Key]struct{}, len(w.marks))
	for k := range w.marks {
		marks[k] = struct{}{}
	}
	for _, b := range []*batch{w.busy, w.next} {
		if b == nil {
			continue
		}
		for _, q := range b.journal {
			if q.by != nil && q.by.told {
				entries = append(entries, Undelivered{Entry: q.Entry})
			}
		}
	}
	return entries, marks
}

// outbox returns the oldest undelivered entries of the file.
func (s *Store) outbox(ctx context.Context, limit int) (entries []Undelivered, err error) {
	q := "SELECT id, FALSE, " + journalColumns + " FROM journal WHERE id IN (SELECT id FROM outbox ORDER BY id LIMIT ?) ORDER BY id"
	err = scan(ctx, s.read, q, []any{limit}, func(rows *sql.Rows) error {
		row, err := scanEntry(rows)
		entries = append(entries, Undelivered{Entry: row.Entry, Stored: true})
		return err
	})
	return entries, err
}
