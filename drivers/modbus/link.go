package modbus

import (
	"context"
	"errors"
	"sync"
	"time"
)

// A link is an open stream of bytes. All methods but interrupt belong to one
// goroutine. An error other than os.ErrDeadlineExceeded means the link is
// lost; read never returns 0 bytes without an error.
type link interface {
	// arm sets until when write and read may block.
	arm(until time.Time) error

	// write may send a part of p when it returns os.ErrDeadlineExceeded.
	write(p []byte) (int, error)
	read(p []byte) (int, error)

	// poll reads what is there already, perhaps nothing, without blocking.
	poll(p []byte) (int, error)

	// interrupt makes a blocked write or read return os.ErrDeadlineExceeded.
	interrupt()
	close() error
}

// An opener makes a link from settings that passed Check.
type opener func(context.Context, *Settings) (link, error)

func openerFor(k Kind) opener {
	if k == RTU {
		return openSerial
	}
	return openNet
}

// errGone is a serial device that was pulled out.
var errGone = errors.New("device is gone")

// A waker carries the end of a context to the link that is open at the time.
// It registers once per context, not once per transaction.
type waker struct {
	mu   sync.Mutex // guards link: the context's goroutine interrupts it, the owner replaces it
	link link

	watched <-chan struct{} // Done of the context that is registered
	stop    func() bool
}

func (w *waker) use(l link) {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.link = l
}

func (w *waker) wake() {
	w.mu.Lock()
	defer w.mu.Unlock()
	if w.link != nil {
		w.link.interrupt()
	}
}

// watch makes the end of ctx interrupt the link. A context that ended after
// its own transaction may interrupt a later one; the reader looks at its own
// context and goes on.
func (w *waker) watch(ctx context.Context) {
	done := ctx.Done()
	if w.stop != nil && done == w.watched {
		return
	}
	w.unwatch()
	w.watched, w.stop = done, context.AfterFunc(ctx, w.wake)
}

func (w *waker) unwatch() {
	if w.stop != nil {
		w.stop()
		w.stop = nil
	}
}
