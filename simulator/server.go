package simulator

import (
	"context"
	"encoding/binary"
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
