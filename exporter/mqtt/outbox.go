package mqtt

import (
	"context"

	"pumpside/rules/alarm"
)

// An Entry is one journal entry that the broker has not yet acknowledged. Pump
// and Event.Seq are its key.
type Entry struct {
	Pump   string // "" for the site
	Event  alarm.Event
	Stored bool // false when it goes out although the store could not keep it
}

// An Outbox keeps entries until they are delivered. Run calls it from one
// goroutine. An error is logged and tried again a second later.
type Outbox interface {
	// Oldest returns up to n undelivered entries, oldest first: those of one
	// pump, and those of the site, in the order of their Seq. What comes with
	// an error is sent all the same.
	Oldest(ctx context.Context, n int) ([]Entry, error)
	// Delivered takes entries out for good. One that is no longer there,
	// because the outbox was full and dropped it, is no error.
	Delivered(ctx context.Context, entries []Entry) error
	// Ready gives a value when there may be a new entry. Capacity 1, sent to
	// without waiting, is enough.
	Ready() <-chan struct{}
}
