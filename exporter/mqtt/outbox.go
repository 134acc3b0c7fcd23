package mqtt

import (
	"context"

	"pumpside/rules/alarm"
)

// An Entry is one journal entry that the broker has not yet acknowledged.
type Entry struct {
	ID       int64       // the outbox's own name for it
	Pump     string      // "" for the site
	StreamID string      // of the state file it is counted in: new after a restore or damage
	Stored   bool        // false when it goes out although the store could not keep it
	Event    alarm.Event //
}

// An Outbox keeps entries until they are delivered. Run calls it from one
// goroutine. An error is logged and tried again a second later.
type Outbox interface {
	// Oldest returns up to n undelivered entries, oldest first: those of one
	// pump, and those of the site, in the order of their Seq.
	Oldest(ctx context.Context, n int) ([]Entry, error)
	// Delivered takes entries out for good. An id that is no longer there,
	// because the outbox was full and dropped it, is no error.
	Delivered(ctx context.Context, ids []int64) error
	// Ready gives a value when there may be a new entry. Capacity 1, sent to
	// without waiting, is enough.
	Ready() <-chan struct{}
}
