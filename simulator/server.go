package simulator

import (
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"net"
	"sync"
	"time"
)

// A Framing says how requests stand on the wire.
type Framing uint8

// The framings.
const (
	TCP Framing = iota // MBAP header, as in Modbus messaging on TCP/IP V1.0b
	RTU                // address and CRC; over TCP it is what serial servers pass on
)

// A Server answers Modbus requests for its units. Its zero Now is the time
// since the first call of Serve or ServeRTU. Set the fields before serving.
type Server struct {
	Units map[byte]Unit
	Now   func() time.Duration // since the start of the skids

	// Baud and Turnaround pace answers on RTU: an answer starts no earlier
	// than the request's wire time, 3.5 characters and Turnaround after the
	// request's first byte, and ends its own wire time later. Baud 0 answers
	// at once.
	Baud       int
	Turnaround time.Duration

	once  sync.Once
	start time.Time
}

func (s *Server) now() time.Duration {
	if s.Now != nil {
		return s.Now()
	}
	s.once.Do(func() { s.start = time.Now() })
	return time.Since(s.start)
}

// Serve answers every connection of ln until ctx ends, closes ln and all
// connections, waits for them and returns nil. An error of ln is returned.
func (s *Server) Serve(ctx context.Context, ln net.Listener, f Framing) error {
	ctx, cancel := context.WithCancel(ctx)
	var open sync.WaitGroup
	defer open.Wait()
	defer cancel()
	defer ln.Close()
	stop := context.AfterFunc(ctx, func() { ln.Close() })
	defer stop()
	s.now()
	for {
		conn, err := ln.Accept()
		if ctx.Err() != nil {
			if err == nil {
				conn.Close()
			}
			return nil
		}
		if err != nil {
			return fmt.Errorf("accept on %v: %w", ln.Addr(), err)
		}
		open.Go(func() { s.converse(ctx, conn, f) })
	}
}

// converse serves one connection until it or ctx ends.
func (s *Server) converse(ctx context.Context, conn net.Conn, f Framing) {
	defer conn.Close()
	stop := context.AfterFunc(ctx, func() { conn.Close() })
	defer stop()
	if f == RTU {
		s.serveRTU(ctx, conn) // a broken connection is the caller's business
		return
	}
	s.serveTCP(ctx, conn)
}

const (
	mbapLength = 7
	longestTCP = mbapLength + longestPDU
)

func (s *Server) serveTCP(ctx context.Context, conn io.ReadWriter) {
	var (
		r     responder
		frame [longestTCP]byte
	)
	for {
		if _, err := io.ReadFull(conn, frame[:mbapLength]); err != nil {
			return
		}
		protocol, length := binary.BigEndian.Uint16(frame[2:]), int(binary.BigEndian.Uint16(frame[4:]))
		if protocol != 0 || length < 2 || length > 1+longestPDU {
			return // not Modbus: nothing that follows can be trusted
		}
		request := frame[mbapLength : mbapLength+length-1]
		if _, err := io.ReadFull(conn, request); err != nil {
			return
		}
		answer := s.answer(ctx, &r, frame[6], request, true)
		if answer == nil {
			continue
		}
		binary.BigEndian.PutUint16(frame[4:], uint16(1+len(answer)))
		copy(frame[mbapLength:], answer)
		if _, err := conn.Write(frame[:mbapLength+len(answer)]); err != nil {
			return
		}
	}
}

// answer is the response of a unit, nil when there is none. A gateway answers
// for a unit it does not have; on a serial line nobody does.
func (s *Server) answer(ctx context.Context, r *responder, unit byte, request []byte, gateway bool) []byte {
	u, ok := s.Units[unit]
	switch {
	case !ok && gateway:
		return r.refuse(request[0], gatewayNoAnswer)
	case !ok:
		return nil
	}
	m := u.Manner(s.now())
	if m.Silent || !wait(ctx, m.Late) {
		return nil
	}
	return r.answer(u, s.now(), request)
}

// wait is false when ctx ended first.
func wait(ctx context.Context, d time.Duration) bool {
	if d <= 0 {
		return ctx.Err() == nil
	}
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-t.C:
		return true
	case <-ctx.Done():
		return false
	}
}

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
