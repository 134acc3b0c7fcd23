package mqtt

import (
	"context"
	"time"
)

const (
	firstPause   = time.Second
	longestPause = time.Minute
)

// A backoff spaces attempts: 1 s, 2 s, 4 s, up to 60 s, each between half of
// it and all of it, so that the sites of a company do not come back to a
// restarted broker in step.
type backoff struct {
	random func() float64 // in [0, 1)
	last   time.Duration
}

func (b *backoff) reset() { b.last = 0 }

// wait returns after the next pause, or when ctx ends.
func (b *backoff) wait(ctx context.Context) {
	b.last = min(max(2*b.last, firstPause), longestPause)
	pause := b.last/2 + time.Duration(b.random()*float64(b.last/2))
	timer := time.NewTimer(pause)
	defer timer.Stop()
	select {
	case <-timer.C:
	case <-ctx.Done():
	}
}
