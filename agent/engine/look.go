package engine

import (
	"context"
	"time"

	"pumpside/drivers"
	"pumpside/rules/trend"
)

// A look asks for a copy of the history in memory: it belongs to the pump's
// goroutine.
type look struct {
	resolution trend.Resolution
	answer     chan []*trend.Block // capacity 1
}

// History gives a copy of what is in memory of one resolution. Any goroutine
// may call it; it waits for the pump's, until ctx ends.
func (p *Pump) History(ctx context.Context, r trend.Resolution) ([]*trend.Block, error) {
	l := look{resolution: r, answer: make(chan []*trend.Block, 1)}
	select {
	case p.looks <- l:
	case <-ctx.Done():
		return nil, context.Cause(ctx)
	}
	select {
	case blocks := <-l.answer:
		return blocks, nil
	case <-ctx.Done():
		return nil, context.Cause(ctx)
	}
}

// While somebody watches, a snapshot is taken as soon as something was read,
// but not more often than every showEvery.
const (
	watchFor  = 5 * time.Second
	showEvery = 200 * time.Millisecond
)

// Watch says that somebody looks at the pump now. Any goroutine may call it.
func (p *Pump) Watch() { p.watched.Store(int64(p.Now().SinceBoot + watchFor)) }

// show takes a snapshot after a batch with readings, for those who watch.
func (p *Pump) show(b *drivers.Batch) {
	at := b.At.SinceBoot
	if len(b.Readings) == 0 || at > time.Duration(p.watched.Load()) || at-p.shown < showEvery && at >= p.shown {
		return
	}
	p.shown = at
	p.publish()
}
