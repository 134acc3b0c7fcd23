package modbus

import (
	"context"
	"time"
)

// ready returns once a request may be sent: the link is open and no old
// answer can be on the way.
func (t *transport) ready() error {
	if err := t.connect(); err != nil {
		return err
	}
	if t.settings.Kind != TCP {
		return t.settle()
	}
	if t.untouched() {
		return nil
	}
	t.lose()
	return t.connect()
}

// untouched reports whether a TCP connection is as we left it: not closed by
// the peer, and nothing came unasked. Directly after an answer it saves the
// system call: what comes in that moment is given away by its transaction.
func (t *transport) untouched() bool {
	const directly = 20 * time.Millisecond
	if time.Since(t.line.heard) < directly {
		return true
	}
	n, err := t.link.poll(t.buf[:])
	t.facts.Stray += uint64(n)
	return n == 0 && err == nil
}

// connect opens the link unless it is open or could not be opened lately.
func (t *transport) connect() error {
	if t.link != nil {
		return nil
	}
	if wait := t.reopen.wait(time.Now()); wait > 0 {
		return faultf(BackingOff, "%s could not be opened; next try in %v", t.settings.Address, wait.Round(time.Millisecond))
	}
	ctx, cancel := context.WithDeadline(t.ctx, t.deadline)
	defer cancel()
	l, err := t.open(ctx, t.settings)
	switch {
	case err == nil:
	case t.ctx.Err() != nil:
		return t.ctx.Err()
	default:
		t.reopen.failed(time.Now(), &t.pace, 0)
		return wrapFault(Disconnected, "open "+t.settings.Address, err)
	}
	t.link = l
	t.wake.use(l)
	t.facts.Opened++
	t.line.spoil(t.lateLimit()) // an answer asked for by whoever had it open before may be on the way
	return nil
}

// lose closes the link, if it is open.
func (t *transport) lose() {
	if t.link == nil {
		return
	}
	t.wake.use(nil)
	_ = t.link.close()
	t.link = nil
}
