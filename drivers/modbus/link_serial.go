package modbus

import (
	"context"
	"fmt"
	"os"
	"time"

	"github.com/goburrow/serial"
	"golang.org/x/sys/unix"
)

// A serialLink is an open serial device.
//
// goburrow/serial only prepares the line: its port hides its descriptor, so it
// can be neither locked nor interrupted, waits with select (which fails above
// descriptor 1023), takes the hang-up of a pulled adapter for an empty read,
// and logs when such a device is closed. We copy the line setting it made onto
// a descriptor of our own and let it go.
type serialLink struct {
	fd      int
	wakeFD  int // an eventfd: readable once interrupt was called
	before  unix.Termios
	until   time.Time
	pollFDs [2]unix.PollFd
}

func openSerial(_ context.Context, s *Settings) (link, error) {
	fd, err := unix.Open(s.Address, unix.O_RDWR|unix.O_NOCTTY|unix.O_NONBLOCK|unix.O_CLOEXEC, 0)
	if err != nil {
		return nil, err
	}
	l := &serialLink{fd: fd, wakeFD: -1}
	if err := l.prepare(s); err != nil {
		l.release()
		return nil, err
	}
	return l, nil
}

// prepare takes the device for this process alone and sets the line.
func (l *serialLink) prepare(s *Settings) error {
	// flock keeps out a second agent, also one that runs as root; TIOCEXCL
	// keeps out everybody else.
	if err := unix.Flock(l.fd, unix.LOCK_EX|unix.LOCK_NB); err != nil {
		return fmt.Errorf("in use by another process: %w", err)
	}
	before, err := unix.IoctlGetTermios(l.fd, unix.TCGETS)
	if err != nil {
		return fmt.Errorf("not a serial device: %w", err)
	}
	l.before = *before
	set, err := lineSetting(l.fd, serialConfig(s))
	if err != nil {
		return err
	}
	if err := unix.IoctlSetTermios(l.fd, unix.TCSETS, set); err != nil {
		return fmt.Errorf("set line: %w", err)
	}
	if err := unix.IoctlSetInt(l.fd, unix.TIOCEXCL, 0); err != nil {
		return fmt.Errorf("take line: %w", err)
	}
	l.wakeFD, err = unix.Eventfd(0, unix.EFD_NONBLOCK|unix.EFD_CLOEXEC)
	return err
}

// lineSetting lets goburrow/serial set the line and returns what it set.
func lineSetting(fd int, c *serial.Config) (*unix.Termios, error) {
	port, err := serial.Open(c)
	if err != nil {
		return nil, err
	}
	defer port.Close()
	set, err := unix.IoctlGetTermios(fd, unix.TCGETS)
	if err != nil {
		return nil, err
	}
	set.Cc[unix.VMIN] = 1 // with 0 an empty line and a pulled device read alike
	return set, nil
}

// serialConfig sets all four parameters: the library's defaults are not ours.
func serialConfig(s *Settings) *serial.Config {
	return &serial.Config{
		Address: s.Address, BaudRate: s.Line.Baud, DataBits: 8,
		Parity: string(rune(s.Line.Parity)), StopBits: s.Line.StopBits,
		RS485: serial.RS485Config{
			Enabled:            s.Line.RS485.Enabled,
			DelayRtsBeforeSend: s.Line.RS485.DelayBeforeSend,
			DelayRtsAfterSend:  s.Line.RS485.DelayAfterSend,
			RtsHighDuringSend:  s.Line.RS485.RTSHighDuringSend,
			RtsHighAfterSend:   s.Line.RS485.RTSHighAfterSend,
			RxDuringTx:         s.Line.RS485.ReceiveDuringSend,
		},
	}
}

func (l *serialLink) arm(until time.Time) error {
	l.until = until
	return nil
}

func (l *serialLink) write(p []byte) (int, error) {
	for sent := 0; ; {
		n, err := unix.Write(l.fd, p[sent:])
		switch sent += max(n, 0); {
		case sent == len(p):
			return sent, nil
		case err != nil && err != unix.EAGAIN && err != unix.EINTR:
			return sent, fmt.Errorf("%w: %w", errGone, err)
		}
		if err := l.wait(unix.POLLOUT); err != nil {
			return sent, err
		}
	}
}

func (l *serialLink) read(p []byte) (int, error) {
	for {
		if err := l.wait(unix.POLLIN); err != nil {
			return 0, err
		}
		if n, err := l.poll(p); n > 0 || err != nil {
			return n, err
		}
	}
}

func (l *serialLink) poll(p []byte) (int, error) {
	switch n, err := unix.Read(l.fd, p); {
	case err == unix.EAGAIN || err == unix.EINTR:
		return 0, nil
	case err != nil:
		return 0, fmt.Errorf("%w: %w", errGone, err)
	case n == 0:
		return 0, errGone // end of file: hung up
	default:
		return n, nil
	}
}

// wait blocks until the device is ready, lost, or the armed time is over.
// ppoll keeps time to tens of microseconds, which Go's timers do not.
func (l *serialLink) wait(event int16) error {
	fds := l.pollFDs[:]
	fds[0] = unix.PollFd{Fd: int32(l.fd), Events: event}
	fds[1] = unix.PollFd{Fd: int32(l.wakeFD), Events: unix.POLLIN}
	timeout := unix.NsecToTimespec(max(0, int64(time.Until(l.until))))
	switch n, err := unix.Ppoll(fds, &timeout, nil); {
	case err == unix.EINTR:
		return nil // the caller tries, finds nothing and waits again
	case err != nil:
		return err
	case n == 0:
		return os.ErrDeadlineExceeded
	case fds[1].Revents != 0:
		var count [8]byte
		_, _ = unix.Read(l.wakeFD, count[:])
		return os.ErrDeadlineExceeded
	}
	return nil // ready, or hung up: the read or write that follows tells
}

func (l *serialLink) interrupt() {
	one := [8]byte{1}
	_, _ = unix.Write(l.wakeFD, one[:]) // native byte order does not matter: any value but 0 wakes
}

func (l *serialLink) close() error {
	_ = unix.IoctlSetInt(l.fd, unix.TIOCNXCL, 0)
	_ = unix.IoctlSetTermios(l.fd, unix.TCSETS, &l.before) // fails on a device that is gone
	return l.release()
}

func (l *serialLink) release() error {
	if l.wakeFD >= 0 {
		_ = unix.Close(l.wakeFD)
	}
	return unix.Close(l.fd)
}
