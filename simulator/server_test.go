package simulator_test

import (
	"bytes"
	"context"
	"encoding/hex"
	"io"
	"net"
	"sync"
	"testing"
	"time"

	"pumpside/simulator"
)

// still is a unit with five registers 10, 11, ... and as many bits.
type still struct{ manner simulator.Manner }

func (still) Read(_ time.Duration, _ simulator.Table, first uint16, dst []uint16) bool {
	for i := range dst {
		at := int(first) + i
		if at >= 5 {
			return false
		}
		dst[i] = uint16(10 + at)
	}
	return true
}
func (s still) Manner(time.Duration) simulator.Manner { return s.manner }
func (still) Identification(object byte) string       { return string(rune('a' + object)) }

// The frames are worked by hand from the Modbus application protocol V1.1b3.
func TestServerAnswersReadsAndRefusesTheRest(t *testing.T) {
	tests := []struct{ name, ask, want string }{
		{"holding registers", "0001 0000 0006 01 03 0001 0002", "0001 0000 0007 01 03 04 000b 000c"},
		{"input registers", "0002 0000 0006 01 04 0000 0001", "0002 0000 0005 01 04 02 000a"},
		{"coils", "0003 0000 0006 01 01 0000 0003", "0003 0000 0004 01 01 01 07"},
		{"discrete inputs", "0004 0000 0006 01 02 0002 0003", "0004 0000 0004 01 02 01 07"},
		{"past the end is exception 2", "0005 0000 0006 01 03 0004 0002", "0005 0000 0003 01 83 02"},
		{"no registers is exception 3", "0006 0000 0006 01 03 0000 0000", "0006 0000 0003 01 83 03"},
		{"126 registers is exception 3", "0007 0000 0006 01 03 0000 007e", "0007 0000 0003 01 83 03"},
		{"write of one register is exception 1", "0008 0000 0006 01 06 0000 0001", "0008 0000 0003 01 86 01"},
		{"write of many is exception 1", "0009 0000 0009 01 10 0000 0001 02 0001", "0009 0000 0003 01 90 01"},
		{"a unit that is not there is exception 11", "000a 0000 0006 09 03 0000 0001", "000a 0000 0003 09 83 0b"},
		{"identification as a stream", "000b 0000 0005 01 2b 0e 01 00", "000b 0000 0011 01 2b 0e 01 81 00 00 03 00 01 61 01 01 62 02 01 63"},
		{"one identification object", "000c 0000 0005 01 2b 0e 04 02", "000c 0000 000b 01 2b 0e 04 81 00 00 01 02 01 63"},
		{"an unknown object is exception 2", "000d 0000 0005 01 2b 0e 04 07", "000d 0000 0003 01 ab 02"},
		{"a refusing unit", "000e 0000 0006 03 03 0000 0001", "000e 0000 0003 03 83 06"},
	}
	s := &simulator.Server{Units: map[byte]simulator.Unit{1: still{}, 3: still{simulator.Manner{Refuse: 6}}}}
	conn := dial(t, s, simulator.TCP)
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			converse(t, conn, tt.ask, tt.want)
		})
	}
}

// Frames with their CRC: the first is the example of Modbus over serial line
// V1.02 in form; CRCs worked with a bit-by-bit division.
func TestServerAnswersRTUFramesOnTCP(t *testing.T) {
	s := &simulator.Server{Units: map[byte]simulator.Unit{1: still{}}}
	conn := dial(t, s, simulator.RTU)
	converse(t, conn, withCRC("01 03 0001 0002"), withCRC("01 03 04 000b 000c"))
	converse(t, conn, withCRC("01 06 0000 0001"), withCRC("01 86 01"))
	converse(t, conn, withCRC("01 10 0000 0001 02 0001"), withCRC("01 90 01"))
	converse(t, conn, withCRC("01 2b 0e 04 00"), withCRC("01 2b 0e 04 81 00 00 01 00 01 61"))
	t.Run("nobody answers for a unit that is not there, nor a frame with a wrong CRC", func(t *testing.T) {
		send(t, conn, withCRC("02 03 0001 0002"))
		send(t, conn, "01 03 0001 0002 0000")
		time.Sleep(60 * time.Millisecond)
		converse(t, conn, withCRC("01 03 0000 0001"), withCRC("01 03 02 000a"))
	})
}

// The CRC of 01 03 00 00 00 0A is C5 CD on the wire: a vector many manuals print.
func TestCRCVector(t *testing.T) {
	if got, want := withCRC("01 03 0000 000a"), "01030000000ac5cd"; got != want {
		t.Errorf("frame %s, want %s", got, want)
	}
}

func TestServerLeavesASilentUnitUnanswered(t *testing.T) {
	s := &simulator.Server{Units: map[byte]simulator.Unit{1: still{}, 2: still{simulator.Manner{Silent: true}}}}
	conn := dial(t, s, simulator.TCP)
	send(t, conn, "0001 0000 0006 02 03 0000 0001")
	converse(t, conn, "0002 0000 0006 01 03 0000 0001", "0002 0000 0005 01 03 02 000a")
}

func TestServerAnswersLateWhenToldTo(t *testing.T) {
	late := 50 * time.Millisecond
	s := &simulator.Server{Units: map[byte]simulator.Unit{1: still{simulator.Manner{Late: late}}}}
	conn := dial(t, s, simulator.TCP)
	start := time.Now()
	converse(t, conn, "0002 0000 0006 01 03 0000 0001", "0002 0000 0005 01 03 02 000a")
	if took := time.Since(start); took < late {
		t.Errorf("answered after %v, want at least %v", took, late)
	}
}

func TestServeReturnsNilWhenAsked(t *testing.T) {
	ctx, cancel := context.WithCancel(t.Context())
	ln := listen(t)
	done := make(chan error)
	s := &simulator.Server{}
	go func() { done <- s.Serve(ctx, ln, simulator.TCP) }()
	conn, err := net.Dial("tcp", ln.Addr().String())
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close()
	cancel()
	if err := <-done; err != nil {
		t.Errorf("Serve = %v, want nil", err)
	}
	if _, err := conn.Read(make([]byte, 1)); err == nil {
		t.Error("the connection is still open")
	}
}

func listen(t *testing.T) net.Listener {
	t.Helper()
	ln, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	return ln
}

// dial serves s until the test ends.
func dial(t *testing.T, s *simulator.Server, f simulator.Framing) net.Conn {
	t.Helper()
	ln := listen(t)
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan error)
	go func() { done <- s.Serve(ctx, ln, f) }()
	conn, err := net.Dial("tcp", ln.Addr().String())
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		conn.Close()
		cancel()
		if err := <-done; err != nil {
			t.Errorf("Serve: %v", err)
		}
	})
	conn.SetDeadline(time.Now().Add(5 * time.Second))
	return conn
}

func send(t *testing.T, conn io.Writer, text string) {
	t.Helper()
	if _, err := conn.Write(unhex(text)); err != nil {
		t.Fatal(err)
	}
}

func converse(t *testing.T, conn io.ReadWriter, ask, want string) {
	t.Helper()
	send(t, conn, ask)
	wanted := unhex(want)
	got := make([]byte, len(wanted))
	if n, err := io.ReadFull(conn, got); err != nil {
		t.Fatalf("answer % x: %v, want %s", got[:n], err, want)
	}
	if !bytes.Equal(got, wanted) {
		t.Errorf("answer % x, want % x", got, wanted)
	}
}

func unhex(text string) []byte {
	raw, err := hex.DecodeString(string(bytes.ReplaceAll([]byte(text), []byte(" "), nil)))
	if err != nil {
		panic(err)
	}
	return raw
}

// withCRC appends the CRC by polynomial division, bit by bit.
func withCRC(text string) string {
	frame := unhex(text)
	c := uint16(0xffff)
	for _, b := range frame {
		for bit := range 8 {
			if (c^uint16(b>>bit))&1 != 0 {
				c = c>>1 ^ 0xa001
			} else {
				c >>= 1
			}
		}
	}
	return hex.EncodeToString(append(frame, byte(c), byte(c>>8)))
}

// Whatever comes, the server answers a Modbus exchange or nothing, and its unit
// is never asked for more than the protocol allows.
func FuzzServer(f *testing.F) {
	f.Add(unhex("0001 0000 0006 01 03 0001 0002"), false)
	f.Add(unhex("000b 0000 0005 01 2b 0e 01 00"), false)
	f.Add(unhex(withCRC("01 03 0001 0002")), true)
	f.Add(unhex(withCRC("01 10 0000 0001 02 0001")), true)
	f.Fuzz(func(t *testing.T, ask []byte, rtu bool) {
		framing := simulator.TCP
		if rtu {
			framing = simulator.RTU
		}
		near, far := net.Pipe()
		ctx, cancel := context.WithCancel(t.Context())
		ln := &onePipe{conn: far, closed: make(chan struct{})}
		s := &simulator.Server{Units: map[byte]simulator.Unit{1: still{}}}
		done := make(chan error)
		go func() { done <- s.Serve(ctx, ln, framing) }()
		go func() {
			near.SetDeadline(time.Now().Add(20 * time.Millisecond))
			near.Write(ask)
			time.Sleep(time.Millisecond)
			near.Close()
		}()
		answers, _ := io.ReadAll(near)
		cancel()
		if err := <-done; err != nil {
			t.Errorf("Serve: %v", err)
		}
		for rest := answers; !rtu && len(rest) > 0; {
			if len(rest) < 9 || rest[2] != 0 || rest[3] != 0 || len(rest) < 6+int(rest[5]) {
				t.Fatalf("asked % x, answered % x: not a sequence of Modbus answers", ask, answers)
			}
			rest = rest[6+int(rest[5]):]
		}
	})
}

// onePipe is a listener with one connection.
type onePipe struct {
	conn   net.Conn
	once   sync.Once
	closed chan struct{}
}

func (l *onePipe) Accept() (net.Conn, error) {
	if conn := l.conn; conn != nil {
		l.conn = nil
		return conn, nil
	}
	<-l.closed
	return nil, net.ErrClosed
}
func (l *onePipe) Close() error   { l.once.Do(func() { close(l.closed) }); return nil }
func (l *onePipe) Addr() net.Addr { return &net.UnixAddr{Name: "pipe"} }

func BenchmarkTransaction(b *testing.B) {
	k, err := simulator.NewSkid(simulator.DefaultSettings(1))
	if err != nil {
		b.Fatal(err)
	}
	s := &simulator.Server{Units: map[byte]simulator.Unit{1: k.Whole()}}
	ln, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		b.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan error)
	go func() { done <- s.Serve(ctx, ln, simulator.TCP) }()
	conn, err := net.Dial("tcp", ln.Addr().String())
	if err != nil {
		b.Fatal(err)
	}
	ask, answer := unhex("0001 0000 0006 01 04 0000 0014"), make([]byte, 9+2*20)
	b.ReportAllocs()
	for b.Loop() {
		if _, err := conn.Write(ask); err != nil {
			b.Fatal(err)
		}
		if _, err := io.ReadFull(conn, answer); err != nil {
			b.Fatal(err)
		}
	}
	conn.Close()
	cancel()
	if err := <-done; err != nil {
		b.Fatal(err)
	}
}
