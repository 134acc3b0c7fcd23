package modbus

import (
	"context"
	"errors"
	"os"
	"time"
)

// A transport carries one frame out and one answer in. It is the Transporter
// beneath goburrow's client, for all units of one bus.
type transport struct {
	settings *Settings
	framing  framing
	open     opener
	link     link // nil while closed
	wake     waker
	reopen   backoff
	pace     pace
	line     line
	facts    Facts

	// Of the transaction under way.
	ctx       context.Context
	began     time.Time
	deadline  time.Time
	needs     time.Duration // less time than this before the deadline is not worth sending
	unit      *unit
	sent      bool      // the request, or a part of it, left
	written   time.Time // the kernel took its last byte
	firstByte time.Time // of the answer
	buf       [2 * maxFrame]byte
}

// begin starts a transaction with u now, one that takes wire time and has to
// be over in time.
func (t *transport) begin(ctx context.Context, u *unit, now time.Time, timeout, wire time.Duration) {
	deadline := now.Add(timeout)
	if d, ok := ctx.Deadline(); ok && d.Before(deadline) {
		deadline = d
	}
	t.ctx, t.began, t.deadline, t.unit, t.sent = ctx, now, deadline, u, false
	t.needs = min(wire+u.late.slowest, deadline.Sub(now)/2)
	t.wake.watch(ctx)
}

// Send puts one request on the wire and returns its answer, checked against
// the request. The answer is valid until the next Send.
func (t *transport) Send(request []byte) ([]byte, error) {
	if err := t.ready(); err != nil {
		return nil, err
	}
	left := time.Now()
	if err := t.put(request); err != nil {
		return nil, t.spoilt(err)
	}
	answer, err := t.receive(request)
	if err != nil {
		return nil, t.spoilt(err)
	}
	t.facts.Answers++
	t.facts.LastDuration = time.Since(left)
	t.reopen.succeeded()
	return answer, nil
}

// put is the only place that writes to a wire.
func (t *transport) put(request []byte) error {
	if !readsOnly(t.framing.pdu(request)) {
		return faultf(Invalid, "frame % x is no read and does not leave", request)
	}
	if err := t.link.arm(t.deadline); err != nil {
		return err
	}
	t.sent, t.line.asked = true, t.unit
	t.facts.Requests++
	for rest := request; len(rest) > 0; {
		if err := t.ctx.Err(); err != nil {
			return err
		}
		n, err := t.link.write(rest)
		rest = rest[n:]
		if err != nil && !t.spurious(err) {
			return err
		}
	}
	t.written = time.Now()
	return nil
}

// receive reads the answer to request.
func (t *transport) receive(request []byte) ([]byte, error) {
	for got := t.buf[:0]; ; {
		start, size, err := t.locate(request, got)
		if err != nil {
			return nil, err
		}
		if end := start + size; len(got) >= end {
			t.answered(start, len(got)-end)
			return got[start:end], t.framing.verify(request, got[start:end])
		}
		n, err := t.read(t.buf[len(got):])
		if err != nil {
			return nil, err
		}
		if len(got) == 0 {
			t.firstByte = time.Now()
		}
		got = t.buf[:len(got)+n]
	}
}

// locate returns where in got the answer begins, after what may be noise on a
// serial line, and how long it is as far as got tells.
func (t *transport) locate(request, got []byte) (start, size int, mismatch error) {
	noise := tolerableStray
	if t.settings.Kind == TCP {
		noise = 0
	}
	for start = range noise + 1 {
		size, err := t.framing.size(request, got[start:])
		if err == nil {
			return start, size, nil
		}
		if start == 0 {
			mismatch = err
		}
	}
	return 0, 0, mismatch
}

// read reads at least one byte before the deadline the link is armed for.
func (t *transport) read(p []byte) (int, error) {
	for {
		if err := t.ctx.Err(); err != nil {
			return 0, err
		}
		n, err := t.link.read(p)
		if n > 0 || !t.spurious(err) {
			return n, err
		}
	}
}

// spurious reports whether err is an interruption meant for an earlier
// transaction while this one still has time; if so it arms the link again.
func (t *transport) spurious(err error) bool {
	return errors.Is(err, os.ErrDeadlineExceeded) && t.ctx.Err() == nil &&
		time.Now().Before(t.deadline) && t.link.arm(t.deadline) == nil
}

// answered notes that a whole answer was heard, with stray bytes before and
// behind it.
func (t *transport) answered(before, behind int) {
	t.line.heard = time.Now()
	t.facts.Stray += uint64(before + behind)
	switch {
	case behind > 0 && t.settings.Kind != RTU:
		t.lose()
		t.line.spoil(t.unit.late.limit(t.settings))
	case behind > tolerableStray:
		t.line.spoil(t.unit.late.limit(t.settings))
	default:
		t.line.silence = t.frameGap()
	}
}

// requested returns when the last byte of the request had left. The kernel
// takes a frame at once and a serial line needs time to send it, unless the
// answer shows that there is no such line.
func (t *transport) requested() time.Time {
	onWire := t.written.Add(t.settings.Line.characters(requestBytes))
	if t.settings.Kind == TCP || t.firstByte.Before(onWire) {
		return t.written
	}
	return onWire
}

// spoilt makes sure that what is still on its way cannot be taken for the
// answer to a later request, and returns err with its reason.
func (t *transport) spoilt(err error) error {
	var f *fault
	isFault, timedOut := errors.As(err, &f), errors.Is(err, os.ErrDeadlineExceeded)
	over := t.ctx.Err()
	if t.settings.Kind != RTU || !isFault && !timedOut && over == nil {
		t.lose()
	}
	t.line.spoil(t.unit.late.limit(t.settings))
	switch {
	case isFault:
		return err
	case over != nil:
		return over
	case timedOut:
		return faultf(Timeout, "no whole answer in time")
	}
	return wrapFault(Disconnected, "connection broke", err)
}
