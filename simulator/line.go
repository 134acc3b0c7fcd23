package simulator

import (
	"context"
	"errors"
	"io"
	"time"
)

// ServeRTU answers RTU requests on one line, such as a serial port or the
// master side of a pty, until ctx ends, and returns nil. When ctx ends it
// closes rw, since nothing else ends a read that waits. An error of the line
// is returned; the far end gone (io.EOF) is nil.
func (s *Server) ServeRTU(ctx context.Context, rw io.ReadWriteCloser) error {
	stop := context.AfterFunc(ctx, func() { rw.Close() })
	defer stop()
	s.now()
	err := s.serveRTU(ctx, rw)
	if ctx.Err() != nil || errors.Is(err, io.EOF) {
		return nil
	}
	return err
}

// A line is one RTU conversation.
type line struct {
	responder
	frame [longestRTU]byte
	out   [longestRTU]byte
	have  int       // bytes of frame
	first time.Time // when the first of them came
	last  time.Time
}

// staleAfter is the silence after which a part of a frame is forgotten. It is
// longer than the gap between characters the protocol allows, because USB
// adapters and operating systems hold bytes back for some milliseconds.
const staleAfter = 50 * time.Millisecond

func (s *Server) serveRTU(ctx context.Context, rw io.ReadWriter) error {
	l := new(line)
	for {
		n, err := rw.Read(l.frame[l.have:])
		if err != nil {
			return err
		}
		l.came(n)
		if err := s.reply(ctx, l, rw); err != nil {
			return err
		}
	}
}

// came notes n more bytes at the end of the frame.
func (l *line) came(n int) {
	now := time.Now()
	if l.have > 0 && now.Sub(l.last) > staleAfter {
		copy(l.frame[:], l.frame[l.have:l.have+n])
		l.have = 0
	}
	if l.have == 0 {
		l.first = now
	}
	l.have += n
	l.last = now
}

// reply answers the whole requests that have come. Bytes that make no frame
// are dropped up to the next silence.
func (s *Server) reply(ctx context.Context, l *line, w io.Writer) error {
	for l.have > 0 {
		n := requestLength(l.frame[:l.have])
		if n < 0 {
			n = l.have
		}
		if n == 0 || n > l.have {
			if l.have == len(l.frame) {
				l.have = 0
			}
			return nil
		}
		if !intact(l.frame[:n]) {
			l.have = 0
			return nil
		}
		answer := s.answer(ctx, &l.responder, l.frame[0], l.frame[1:n-2], false)
		if answer != nil {
			if err := s.send(ctx, l, w, n, answer); err != nil {
				return err
			}
		}
		l.have = copy(l.frame[:], l.frame[n:l.have])
	}
	return nil
}

// send writes an answer at the pace of the wire.
func (s *Server) send(ctx context.Context, l *line, w io.Writer, asked int, answer []byte) error {
	l.out[0] = l.frame[0]
	frame := sealed(append(l.out[:1], answer...))
	if s.Baud > 0 {
		due := l.first.Add(s.wire(asked) + s.silence() + s.Turnaround + s.wire(len(frame)))
		if !wait(ctx, time.Until(due)) {
			return nil
		}
	}
	_, err := w.Write(frame)
	return err
}

// wire is the time n characters of 11 bits take.
func (s *Server) wire(n int) time.Duration {
	return time.Duration(n) * 11 * time.Second / time.Duration(s.Baud)
}

// silence is 3.5 characters, and 1.75 ms above 19200 baud (Modbus over serial
// line V1.02, §2.5.1.1).
func (s *Server) silence() time.Duration {
	if s.Baud > 19200 {
		return 1750 * time.Microsecond
	}
	return 77 * time.Second / 2 / time.Duration(s.Baud)
}
