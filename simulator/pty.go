package simulator

import (
	"fmt"
	"os"

	"golang.org/x/sys/unix"
)

// A Pty is a pair of pseudo-terminals that stands for a serial line: serve the
// Pty itself, and let the client open Path as its serial port.
type Pty struct {
	*os.File        // the master side
	Path     string // such as /dev/pts/3
	Baud     int    // what a client must set to be understood; 0: anything
	far      *os.File
}

// Read reads what the client has sent. A client that was killed and had the line
// to itself must not keep the next one out: a serial line forgets that at the
// last close, a pseudo-terminal does not. At another baud rate than the line's
// that is noise, as on a wire. (The parity cannot be told: the kernel drops it
// from a pseudo-terminal.)
func (p *Pty) Read(b []byte) (n int, err error) {
	_ = control(p.far, func(fd int) error { return unix.IoctlSetInt(fd, unix.TIOCNXCL, 0) })
	n, err = p.File.Read(b)
	if n > 0 && p.Baud > 0 && p.clientBaud() != p.Baud {
		for i := range b[:n] {
			b[i] = ^b[i] << 1
		}
	}
	return n, err
}

// bauds are the rates by how termios(3) writes them.
var bauds = map[uint32]int{
	unix.B1200: 1200, unix.B2400: 2400, unix.B4800: 4800, unix.B9600: 9600, unix.B19200: 19200,
	unix.B38400: 38400, unix.B57600: 57600, unix.B115200: 115200,
}

func (p *Pty) clientBaud() (baud int) {
	_ = control(p.File, func(fd int) error { // a rate that cannot be read is none
		t, err := unix.IoctlGetTermios(fd, unix.TCGETS)
		if err == nil {
			baud = bauds[t.Cflag&unix.CBAUD]
		}
		return err
	})
	return baud
}

// OpenPty opens a pair without echo or line editing. The far side stays open
// until Close, so that a client may come and go.
func OpenPty() (*Pty, error) {
	master, err := os.OpenFile("/dev/ptmx", os.O_RDWR|unix.O_NOCTTY, 0)
	if err != nil {
		return nil, fmt.Errorf("open a pseudo-terminal: %w", err)
	}
	p := &Pty{File: master}
	if err := p.openFar(); err != nil {
		master.Close()
		return nil, fmt.Errorf("open a pseudo-terminal: %w", err)
	}
	return p, nil
}

// Close closes both sides.
func (p *Pty) Close() error {
	p.far.Close()
	return p.File.Close()
}

func (p *Pty) openFar() error {
	var n int
	err := control(p.File, func(fd int) (err error) {
		if err = unix.IoctlSetPointerInt(fd, unix.TIOCSPTLCK, 0); err == nil {
			n, err = unix.IoctlGetInt(fd, unix.TIOCGPTN)
		}
		return err
	})
	if err != nil {
		return err
	}
	p.Path = fmt.Sprintf("/dev/pts/%d", n)
	if err := control(p.File, raw); err != nil { // of the pair, whichever side is asked
		return err
	}
	p.far, err = os.OpenFile(p.Path, os.O_RDWR|unix.O_NOCTTY, 0)
	return err
}

func control(file *os.File, f func(fd int) error) error {
	conn, err := file.SyscallConn()
	if err != nil {
		return err
	}
	var inner error
	if err := conn.Control(func(fd uintptr) { inner = f(int(fd)) }); err != nil {
		return err
	}
	return inner
}

// raw passes bytes as they are (cfmakeraw of the C library).
func raw(fd int) error {
	t, err := unix.IoctlGetTermios(fd, unix.TCGETS)
	if err != nil {
		return err
	}
	t.Iflag &^= unix.IGNBRK | unix.BRKINT | unix.PARMRK | unix.ISTRIP | unix.INLCR | unix.IGNCR | unix.ICRNL | unix.IXON
	t.Oflag &^= unix.OPOST
	t.Lflag &^= unix.ECHO | unix.ECHONL | unix.ICANON | unix.ISIG | unix.IEXTEN
	t.Cflag &^= unix.CSIZE | unix.PARENB
	t.Cflag |= unix.CS8
	return unix.IoctlSetTermios(fd, unix.TCSETS, t)
}
