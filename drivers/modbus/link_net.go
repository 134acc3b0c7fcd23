package modbus

import (
	"context"
	"errors"
	"io"
	"net"
	"os"
	"syscall"
	"time"

	"golang.org/x/sys/unix"
)

// A netLink is a TCP connection.
type netLink struct {
	net.Conn
	raw syscall.RawConn

	// Of one poll: arguments and results of the closure try, which is made
	// once so that polling allocates nothing.
	into []byte
	n    int
	err  error
	try  func(fd uintptr) bool
}

func openNet(ctx context.Context, s *Settings) (link, error) {
	var d net.Dialer
	conn, err := d.DialContext(ctx, "tcp", s.Address)
	if err != nil {
		return nil, err
	}
	raw, err := conn.(*net.TCPConn).SyscallConn()
	if err != nil {
		return nil, err
	}
	l := &netLink{Conn: conn, raw: raw}
	l.try = func(fd uintptr) bool {
		l.n, l.err = unix.Read(int(fd), l.into)
		return true // never wait
	}
	return l, nil
}

func (l *netLink) arm(until time.Time) error   { return l.SetDeadline(until) }
func (l *netLink) write(p []byte) (int, error) { return l.Write(p) }
func (l *netLink) read(p []byte) (int, error)  { return l.Read(p) }
func (l *netLink) close() error                { return l.Close() }

// interrupt sets a deadline in the past; arm undoes it.
func (l *netLink) interrupt() { _ = l.SetDeadline(time.Unix(1, 0)) }

func (l *netLink) poll(p []byte) (int, error) {
	l.into = p
	err := l.raw.Read(l.try)
	if errors.Is(err, os.ErrDeadlineExceeded) { // armed for an earlier transaction
		_ = l.SetReadDeadline(time.Time{})
		err = l.raw.Read(l.try)
	}
	switch {
	case err != nil:
		return 0, err
	case l.err == unix.EAGAIN || l.err == unix.EINTR:
		return 0, nil
	case l.err != nil:
		return 0, l.err
	case l.n == 0:
		return 0, io.EOF
	}
	return l.n, nil
}
