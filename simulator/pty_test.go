package simulator_test

import (
	"bytes"
	"context"
	"io"
	"os"
	"testing"
	"time"

	"golang.org/x/sys/unix"

	"pumpside/simulator"
)

func TestServerAnswersOnASerialLine(t *testing.T) {
	s := &simulator.Server{Units: map[byte]simulator.Unit{1: still{}, 2: still{simulator.Manner{Silent: true}}}}
	port := serveLine(t, s)
	converse(t, port, withCRC("01 03 0001 0002"), withCRC("01 03 04 000b 000c"))
	send(t, port, withCRC("02 03 0001 0002"))
	converse(t, port, withCRC("01 04 0003 0001"), withCRC("01 04 02 000d"))
	t.Run("a request in pieces, bytes that mean line editing elsewhere", func(t *testing.T) {
		inPieces(t, port, 5*time.Millisecond, "01", withCRC("01 03 0003 0004")[2:], withCRC("01 83 02"))
	})
	t.Run("half a request is forgotten after a silence", func(t *testing.T) {
		inPieces(t, port, 60*time.Millisecond, "01 03 00", withCRC("01 03 0000 0001"), withCRC("01 03 02 000a"))
	})
}

// inPieces sends a request with a pause in it and wants the answer. On a busy
// machine a pause is longer, or not noticed: then it is tried again after a
// silence.
func inPieces(t *testing.T, port *os.File, pause time.Duration, first, rest, want string) {
	t.Helper()
	defer port.SetReadDeadline(time.Time{})
	for range 20 {
		send(t, port, first)
		time.Sleep(pause)
		send(t, port, rest)
		got := make([]byte, len(unhex(want)))
		if err := port.SetReadDeadline(time.Now().Add(time.Second)); err != nil {
			t.Fatal(err)
		}
		if _, err := io.ReadFull(port, got); err == nil {
			if !bytes.Equal(got, unhex(want)) {
				t.Errorf("answered % x, want %s", got, want)
			}
			return
		}
	}
	t.Error("no answer in 20 tries")
}

// 8 bytes there and 7 back of 11 bits each, and 3.5 characters between, at
// 9600 baud: 15·11/9600 + 38.5/9600 = 21.2 ms (Modbus over serial line V1.02).
func TestAnswersKeepThePaceOfTheWire(t *testing.T) {
	s := &simulator.Server{Baud: 9600, Units: map[byte]simulator.Unit{1: still{}}}
	port := serveLine(t, s)
	start := time.Now()
	converse(t, port, withCRC("01 03 0000 0001"), withCRC("01 03 02 000a"))
	if took := time.Since(start); took < 21100*time.Microsecond {
		t.Errorf("answered after %v, faster than the wire", took)
	}
}

// A client that is set to another rate sends noise, and so is not answered.
func TestALineAnswersOnlyAtItsBaudRate(t *testing.T) {
	line, err := simulator.OpenPty()
	if err != nil {
		t.Skipf("no pseudo-terminals here: %v", err)
	}
	defer line.Close()
	line.Baud = 19200
	port, err := os.OpenFile(line.Path, os.O_RDWR|unix.O_NOCTTY, 0)
	if err != nil {
		t.Fatal(err)
	}
	defer port.Close()
	request := []byte{1, 3, 0, 1, 0, 2, 0x95, 0xcb}
	for _, tt := range []struct {
		baud  uint32
		heard bool
	}{{unix.B9600, false}, {unix.B19200, true}, {unix.B115200, false}} {
		setBaud(t, port, tt.baud)
		if _, err := port.Write(request); err != nil {
			t.Fatal(err)
		}
		got := make([]byte, len(request))
		if _, err := io.ReadFull(line, got); err != nil {
			t.Fatal(err)
		}
		if heard := bytes.Equal(got, request); heard != tt.heard {
			t.Errorf("rate %#x: heard %v, want %v", tt.baud, heard, tt.heard)
		}
	}
}

func setBaud(t *testing.T, port *os.File, baud uint32) {
	t.Helper()
	fd := int(port.Fd())
	settings, err := unix.IoctlGetTermios(fd, unix.TCGETS)
	if err != nil {
		t.Fatal(err)
	}
	settings.Cflag = settings.Cflag&^unix.CBAUD | baud
	if err := unix.IoctlSetTermios(fd, unix.TCSETS, settings); err != nil {
		t.Fatal(err)
	}
}

func TestAMovedUnitHasNothingWhereItsRegistersStood(t *testing.T) {
	s := &simulator.Server{Units: map[byte]simulator.Unit{1: simulator.Moved{Unit: still{}, By: 200}}}
	port := serveLine(t, s)
	converse(t, port, withCRC("01 03 00c9 0002"), withCRC("01 03 04 000b 000c"))
	converse(t, port, withCRC("01 03 0001 0002"), withCRC("01 83 02"))
}

// serveLine serves s on a pty until the test ends and returns the far side.
func serveLine(t *testing.T, s *simulator.Server) *os.File {
	t.Helper()
	line, err := simulator.OpenPty()
	if err != nil {
		t.Skipf("no pseudo-terminals here: %v", err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan error)
	go func() { done <- s.ServeRTU(ctx, line) }()
	port, err := os.OpenFile(line.Path, os.O_RDWR|unix.O_NOCTTY, 0)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		port.Close()
		cancel()
		if err := <-done; err != nil {
			t.Errorf("ServeRTU: %v", err)
		}
	})
	return port
}
