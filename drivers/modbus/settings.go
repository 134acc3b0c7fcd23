package modbus

import (
	"errors"
	"fmt"
	"net"
	"slices"
	"time"
)

// A Kind says how frames travel.
type Kind uint8

// The three wires. There is no default.
const (
	TCP        Kind = iota + 1 // Modbus TCP
	RTU                        // RTU on a serial line
	RTUOverTCP                 // RTU framing in a TCP connection, to a serial server
)

var kindNames = [...]string{TCP: "tcp", RTU: "rtu", RTUOverTCP: "rtu over tcp"}

func (k Kind) String() string {
	if k < TCP || k > RTUOverTCP {
		return fmt.Sprintf("kind %d", uint8(k))
	}
	return kindNames[k]
}

// A Parity is the parity bit of a serial character.
type Parity byte

// Parities. There is no default: makers differ, and a wrong one is silence.
const (
	NoParity   Parity = 'N'
	OddParity  Parity = 'O'
	EvenParity Parity = 'E'
)

// A Line is how characters look on a serial line. Data bits are always 8: RTU
// has no other.
type Line struct {
	Baud     int // one of Bauds
	Parity   Parity
	StopBits int // 1 or 2
	RS485    RS485
}

// Bauds are the rates that goburrow/serial can set on a device.
var Bauds = []int{1200, 1800, 2400, 4800, 9600, 19200, 38400, 57600, 115200, 230400, 460800, 921600}

// RS485 asks the kernel's driver to switch a transceiver's direction with RTS.
// Leave it off for adapters that switch by themselves: they refuse it.
// Delays are whole milliseconds, the driver's resolution.
type RS485 struct {
	Enabled           bool
	DelayBeforeSend   time.Duration
	DelayAfterSend    time.Duration
	RTSHighDuringSend bool
	RTSHighAfterSend  bool
	ReceiveDuringSend bool
}

// Settings describe one bus.
type Settings struct {
	Kind    Kind
	Address string // host:port, or the path of a serial device
	Line    Line   // needed by RTU; RTUOverTCP knows its wire time only if set

	// Timeout bounds a whole transaction, dial included, for a Request that
	// gives none. Zero means 1 s more than the bytes take on the line.
	Timeout time.Duration

	// LateLimit is how late an answer may come and still be kept apart from
	// the answer to the next request on an RTU line. Zero means 1 s. A lower
	// limit is learned from a unit's answers, but none below LateFloor (zero
	// means 200 ms) and none below the slowest answer seen.
	LateLimit, LateFloor time.Duration

	// Turnaround is the time a device is expected to take between request and
	// answer, for WireTime only. Zero means 2 ms on TCP, else one t3.5.
	Turnaround time.Duration

	// RetryFirst and RetryMost bound the pause before a silent unit is asked
	// or a vanished device is opened again; pauses double and vary by a
	// quarter. Zero means 500 ms and 60 s.
	RetryFirst, RetryMost time.Duration

	// Seed makes the variation of pauses repeatable.
	Seed uint64
}

// Check returns what is wrong with s in one sentence, or nil.
func (s *Settings) Check() error {
	switch s.Kind {
	case TCP, RTUOverTCP:
		_, _, err := net.SplitHostPort(s.Address)
		if bad, ok := errors.AsType[*net.AddrError](err); ok {
			return fmt.Errorf("address %q: %s; want host:port, such as 192.0.2.11:502", s.Address, bad.Err)
		}
	case RTU:
		if s.Address == "" {
			return fmt.Errorf("address is empty; want the path of a serial device")
		}
	default:
		return fmt.Errorf("kind of bus is missing; want %v, %v or %v", TCP, RTU, RTUOverTCP)
	}
	if s.Kind == RTU || s.Line.Baud != 0 {
		return s.Line.check()
	}
	return nil
}

func (l *Line) check() error {
	switch {
	case !slices.Contains(Bauds, l.Baud):
		return fmt.Errorf("baud rate %d; want one of %v", l.Baud, Bauds)
	case l.Parity != NoParity && l.Parity != OddParity && l.Parity != EvenParity:
		return fmt.Errorf("parity is missing; want N, O or E")
	case l.StopBits != 1 && l.StopBits != 2:
		return fmt.Errorf("%d stop bits; want 1 or 2", l.StopBits)
	}
	return nil
}

// withDefaults returns s with every zero that has a meaning replaced by it.
func (s Settings) withDefaults() Settings {
	s.LateLimit = orElse(s.LateLimit, time.Second)
	s.LateFloor = min(orElse(s.LateFloor, 200*time.Millisecond), s.LateLimit)
	s.RetryFirst = orElse(s.RetryFirst, 500*time.Millisecond)
	s.RetryMost = max(orElse(s.RetryMost, time.Minute), s.RetryFirst)
	s.Turnaround = orElse(s.Turnaround, s.usualTurnaround())
	return s
}

func (s *Settings) usualTurnaround() time.Duration {
	if s.Kind == TCP || s.Line.Baud == 0 {
		return 2 * time.Millisecond
	}
	return s.Line.Gap()
}

// timeout is the time a transaction of r may take.
func (s *Settings) timeout(r Request) time.Duration {
	switch {
	case r.Timeout > 0:
		return r.Timeout
	case s.Timeout > 0:
		return s.Timeout
	}
	return time.Second + s.WireTime(r.Table, int(r.Count))
}

func orElse(d, otherwise time.Duration) time.Duration {
	if d > 0 {
		return d
	}
	return otherwise
}
