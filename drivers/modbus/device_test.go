package modbus

import (
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"net"
	"os"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"golang.org/x/sys/unix"
)

// The devices of these tests hold in every register a value that tells unit
// and address, so that an answer to another question is always seen.
func valueAt(unit byte, address int) uint16 { return uint16(int(unit)*1000 + address) }

// healthyPDU is the answer of a device without faults. It shares no code with
// what it tests.
func healthyPDU(unit byte, request []byte) []byte {
	first, count := int(binary.BigEndian.Uint16(request[1:])), int(binary.BigEndian.Uint16(request[3:]))
	switch request[0] {
	case 1, 2:
		data := make([]byte, (count+7)/8)
		for i := range count {
			if valueAt(unit, first+i)%3 == 0 {
				data[i/8] |= 1 << (i % 8)
			}
		}
		return append([]byte{request[0], byte(len(data))}, data...)
	case 3, 4:
		pdu := []byte{request[0], byte(2 * count)}
		for i := range count {
			pdu = binary.BigEndian.AppendUint16(pdu, valueAt(unit, first+i))
		}
		return pdu
	}
	return []byte{request[0] | 0x80, 1}
}

func tcpFrame(request, pdu []byte) []byte {
	frame := append([]byte{}, request[:4]...)
	frame = binary.BigEndian.AppendUint16(frame, uint16(1+len(pdu)))
	return append(append(frame, request[6]), pdu...)
}

func healthyTCP(request []byte) []byte {
	return tcpFrame(request, healthyPDU(request[6], request[7:]))
}

func rtuFrame(unit byte, pdu ...byte) []byte {
	frame := append([]byte{unit}, pdu...)
	crc := uint16(0xFFFF)
	for _, b := range frame {
		crc ^= uint16(b)
		for range 8 {
			if crc&1 == 1 {
				crc = crc>>1 ^ 0xA001
			} else {
				crc >>= 1
			}
		}
	}
	return binary.LittleEndian.AppendUint16(frame, crc)
}

func healthyRTU(request []byte) []byte {
	return rtuFrame(request[0], healthyPDU(request[0], request[1:])...)
}

// A chunk is a part of an answer, sent some time after the part before it.
type chunk struct {
	after time.Duration
	bytes []byte
	hang  bool // hang up instead
}

func whole(frame []byte) []chunk { return []chunk{{bytes: frame}} }

// A script says what a device does on its n-th request, counted from 0. It
// takes the next one when it is done, as devices with one thread do.
type script func(n int, request []byte) []chunk

func readTCP(r io.Reader) ([]byte, error) {
	frame := make([]byte, 6, 260)
	if _, err := io.ReadFull(r, frame); err != nil {
		return nil, err
	}
	frame = frame[:6+int(binary.BigEndian.Uint16(frame[4:]))]
	_, err := io.ReadFull(r, frame[6:])
	return frame, err
}

func readRTU(r io.Reader) ([]byte, error) {
	frame := make([]byte, 8)
	_, err := io.ReadFull(r, frame)
	return frame, err
}

// serveTCP runs a device on a loopback port until the test ends. The count of
// requests goes on over connections, as it does in a device.
func serveTCP(t testing.TB, read func(io.Reader) ([]byte, error), s script) (address string) {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	var wg sync.WaitGroup
	var mu sync.Mutex // guards n and conns
	n, conns := 0, []net.Conn{}
	wg.Go(func() {
		for {
			conn, err := l.Accept()
			if err != nil {
				return
			}
			mu.Lock()
			conns = append(conns, conn)
			mu.Unlock()
			wg.Go(func() {
				defer conn.Close()
				for {
					request, err := read(conn)
					if err != nil {
						return
					}
					mu.Lock()
					parts := s(n, request)
					n++
					mu.Unlock()
					play(conn, parts)
				}
			})
		}
	})
	t.Cleanup(func() {
		l.Close()
		mu.Lock()
		for _, c := range conns {
			c.Close()
		}
		mu.Unlock()
		wg.Wait()
	})
	return l.Addr().String()
}

func play(w io.WriteCloser, parts []chunk) {
	for _, c := range parts {
		time.Sleep(c.after)
		if c.hang {
			w.Close()
			return
		}
		if _, err := w.Write(c.bytes); err != nil {
			return
		}
	}
}

// A pty is a pseudo-terminal whose near end is a serial device for the code
// under test, under a path of the test's own.
type pty struct {
	far  *os.File
	keep *os.File // holds the near end open, so that the far end never reads EIO
	path string
}

func openPTY(t testing.TB) *pty {
	t.Helper()
	p := &pty{path: filepath.Join(t.TempDir(), "ttyUSB0")}
	p.plug(t)
	t.Cleanup(p.pull)
	return p
}

// plug connects a new pseudo-terminal to the path.
func (p *pty) plug(t testing.TB) {
	t.Helper()
	far, err := os.OpenFile("/dev/ptmx", os.O_RDWR|unix.O_NOCTTY|unix.O_NONBLOCK, 0)
	if err != nil {
		t.Skipf("no pseudo-terminals here: %v", err)
	}
	number, err := ptyNumber(far)
	if err != nil {
		t.Fatal(err)
	}
	near := fmt.Sprintf("/dev/pts/%d", number)
	keep, err := os.OpenFile(near, os.O_RDWR|unix.O_NOCTTY, 0)
	if err != nil {
		t.Fatal(err)
	}
	if err := makeRaw(keep); err != nil {
		t.Fatal(err)
	}
	if err := os.Symlink(near, p.path); err != nil {
		t.Fatal(err)
	}
	p.far, p.keep = far, keep
}

// pull takes the device away, as when a USB adapter is pulled out.
func (p *pty) pull() {
	os.Remove(p.path)
	p.keep.Close()
	p.far.Close()
}

func ptyNumber(far *os.File) (int, error) {
	raw, err := far.SyscallConn()
	if err != nil {
		return 0, err
	}
	number, problem := 0, error(nil)
	err = raw.Control(func(fd uintptr) {
		problem = unix.IoctlSetPointerInt(int(fd), unix.TIOCSPTLCK, 0)
		if problem == nil {
			number, problem = unix.IoctlGetInt(int(fd), unix.TIOCGPTN)
		}
	})
	return number, errors.Join(err, problem)
}

// makeRaw keeps the terminal from echoing before the line is set.
func makeRaw(f *os.File) error {
	raw, err := f.SyscallConn()
	if err != nil {
		return err
	}
	var problem error
	err = raw.Control(func(fd uintptr) {
		var set unix.Termios
		set.Cflag = unix.CS8 | unix.CREAD | unix.CLOCAL | unix.B19200
		set.Cc[unix.VMIN] = 1
		problem = unix.IoctlSetTermios(int(fd), unix.TCSETS, &set)
	})
	return errors.Join(err, problem)
}

// serve runs a device on the far end until it is pulled or the test ends.
func (p *pty) serve(t testing.TB, s script) {
	var wg sync.WaitGroup
	far := p.far
	wg.Go(func() {
		for n := 0; ; n++ {
			request, err := readRTU(far)
			if err != nil {
				return
			}
			play(far, s(n, request))
		}
	})
	t.Cleanup(func() {
		far.Close()
		wg.Wait()
	})
}

var line9600 = Line{Baud: 9600, Parity: EvenParity, StopBits: 1}

// quick are settings with which a test does not wait for seconds.
func quick(k Kind, address string) Settings {
	s := Settings{
		Kind: k, Address: address, Timeout: 2 * time.Second,
		LateLimit: 60 * time.Millisecond, RetryFirst: 1, RetryMost: 1,
	}
	if k == RTU {
		s.Line = Line{Baud: 115200, Parity: EvenParity, StopBits: 1}
	}
	return s
}

func openBus(t testing.TB, s Settings) *Bus {
	t.Helper()
	b, err := Open(s)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { b.Close() })
	return b
}

// checkWords reports words that are not those of the request.
func checkWords(t testing.TB, r Request, words []uint16) {
	t.Helper()
	if len(words) != int(r.Count) {
		t.Fatalf("%d words, want %d", len(words), r.Count)
	}
	for i, w := range words {
		if want := valueAt(r.Unit, int(r.First)+i); w != want {
			t.Fatalf("register %d of unit %d = %d, want %d", int(r.First)+i, r.Unit, w, want)
		}
	}
}
