package store

import "time"

// A Status says how the Writer is doing. All counts but the outbox's start
// from zero with the process.
type Status struct {
	Err          error     // why the last commit failed; nil when it did not
	FailingSince time.Time // wall time of the first failure in a row; zero when all is well
	Failures     int       // failed commits in a row
	LastCommit   time.Time // wall time of the last good commit; zero before the first
	CommitTook   time.Duration
	Commits      uint64

	InMemory    int             // journal entries not stored yet
	LostEntries [Classes]uint64 // entries that fell out of memory before they could be stored, by class
	LostBlocks  uint64          // blocks of history that did

	OutboxMessages int             // undelivered entries in the file
	OutboxOldest   time.Time       // wall time of the oldest; zero when there is none
	OutboxDropped  [Classes]uint64 // entries dropped undelivered since the file was made, by class
	FileBytes      int64           // in use within the state file
}

// Status returns how things stand.
func (w *Writer) Status() Status {
	w.mu.Lock()
	defer w.mu.Unlock()
	s := w.status
	s.InMemory = len(w.next.journal)
	if w.busy != nil {
		s.InMemory += len(w.busy.journal)
	}
	return s
}

func (s *Status) committed(now Status, at time.Time, took time.Duration) {
	s.Err, s.FailingSince, s.Failures = nil, time.Time{}, 0
	s.LastCommit, s.CommitTook = at, took
	s.Commits++
	s.OutboxMessages, s.OutboxOldest, s.OutboxDropped = now.OutboxMessages, now.OutboxOldest, now.OutboxDropped
	s.FileBytes = now.FileBytes
}

func (s *Status) failed(err error, at time.Time) {
	s.Err = err
	s.Failures++
	if s.FailingSince.IsZero() {
		s.FailingSince = at
	}
}
