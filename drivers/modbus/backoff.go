package modbus

import (
	"math/rand/v2"
	"time"
)

// A backoff says when something that failed may be tried again. The zero
// backoff has never failed. The first try after the pause is the probe: it
// succeeds and all is forgotten, or it fails and the pause doubles.
type backoff struct {
	failures int       // in a row
	retryAt  time.Time // zero while tries are free
}

// A pace bounds the pauses of a backoff.
type pace struct {
	first, most time.Duration
	rng         *rand.Rand
}

// wait returns how long it is until the next try; zero or less means now.
func (b *backoff) wait(now time.Time) time.Duration {
	if b.retryAt.IsZero() {
		return 0
	}
	return b.retryAt.Sub(now)
}

// failed counts a failure; tolerated is how many of them cost no pause.
func (b *backoff) failed(now time.Time, p *pace, tolerated int) {
	b.failures++
	doublings := b.failures - tolerated - 1
	if doublings < 0 {
		return
	}
	pause := p.most
	if doublings < 32 {
		pause = min(p.first<<doublings, p.most)
	}
	b.retryAt = now.Add(pause*3/4 + time.Duration(p.rng.Int64N(int64(pause/4)+1)))
}

func (b *backoff) succeeded() { *b = backoff{} }
