package modbus

import (
	"bytes"
	"errors"
	"fmt"
	"log"
	"os"
	"slices"
	"strings"
	"testing"
	"time"

	gomodbus "github.com/goburrow/modbus"
	"github.com/goburrow/serial"
	"golang.org/x/sys/unix"
)

// bareRTU is goburrow's own handler on a device, as its users set it up.
func bareRTU(path string, timeout time.Duration) *gomodbus.RTUClientHandler {
	h := gomodbus.NewRTUClientHandler(path)
	h.SlaveId, h.BaudRate, h.DataBits, h.Parity, h.StopBits = 1, 115200, 8, "E", 1
	h.Timeout = timeout
	return h
}

// bareOutcome reads count registers n times, each time one address further on.
func bareOutcome(h *gomodbus.RTUClientHandler, n, count int) (failed, wrong int) {
	client := gomodbus.NewClient(h)
	defer h.Close()
	for i := range n {
		data, err := client.ReadHoldingRegisters(uint16(100+i), uint16(count))
		switch {
		case err != nil:
			failed++
		case int(data[0])<<8|int(data[1]) != int(valueAt(1, 100+i)):
			wrong++
		}
	}
	return failed, wrong
}

// ourOutcome does the same with a Bus; a wrong value fails the test.
func ourOutcome(t *testing.T, b *Bus, n, count int) (failed int) {
	t.Helper()
	for i := range n {
		r := Request{Unit: 1, Table: HoldingRegisters, First: uint16(100 + i), Count: uint16(count)}
		a, err := b.Read(t.Context(), r)
		if err != nil {
			failed++
			if err := b.Settle(t.Context()); err != nil {
				t.Fatal(err)
			}
			continue
		}
		checkWords(t, r, a.Words)
	}
	return failed
}

// onPTY opens a device with a script.
func onPTY(t *testing.T, s script) *pty {
	t.Helper()
	p := openPTY(t)
	p.serve(t, s)
	return p
}

func TestT7LateRTUAnswerIsNeverTakenForTheNextOne(t *testing.T) {
	t.Parallel()
	late := func(n int, request []byte) []chunk {
		takes := 17 * time.Millisecond // more than goburrow's handler sleeps
		if n == 2 {
			takes = 130 * time.Millisecond
		}
		return []chunk{{after: takes, bytes: healthyRTU(request)}}
	}
	const reads = 10
	failed, wrong := bareOutcome(bareRTU(onPTY(t, late).path, 90*time.Millisecond), reads, 1)
	if wrong < reads-4 {
		t.Errorf("goburrow's handler returned %d wrong values and %d errors, expected nearly all %d wrong", wrong, failed, reads)
	}
	s := quick(RTU, onPTY(t, late).path)
	s.Timeout, s.LateLimit = 100*time.Millisecond, 300*time.Millisecond
	b := openBus(t, s)
	if err := b.Settle(t.Context()); err != nil {
		t.Fatal(err)
	}
	// A busy machine may delay another answer as well; none may be wrong.
	if failed := ourOutcome(t, b, reads, 1); failed < 1 || failed > 3 {
		t.Errorf("a bus failed %d of %d reads, want one error and no wrong value", failed, reads)
	}
	if f := b.Facts(); f.LateFrame < 1 {
		t.Error("the late answer was not recognised")
	}
}

func TestT8ExceptionFrameIsReadWhole(t *testing.T) {
	t.Parallel()
	refusing := func(n int, request []byte) []chunk {
		if n > 0 {
			return whole(healthyRTU(request))
		}
		f := rtuFrame(request[0], request[1]|0x80, 2)
		return []chunk{{bytes: f[:4]}, {after: 60 * time.Millisecond, bytes: f[4:]}}
	}
	h := bareRTU(onPTY(t, refusing).path, 150*time.Millisecond)
	client := gomodbus.NewClient(h)
	_, first := client.ReadHoldingRegisters(100, 1)
	_, second := client.ReadHoldingRegisters(100, 1)
	h.Close()
	if refusal := (*gomodbus.ModbusError)(nil); errors.As(first, &refusal) || first == nil || second == nil {
		t.Errorf("goburrow's handler returned %v and %v, expected two errors that hide the exception", first, second)
	}
	b := openBus(t, quick(RTU, onPTY(t, refusing).path))
	r := Request{Unit: 1, Table: HoldingRegisters, First: 100, Count: 1}
	if _, err := b.Read(t.Context(), r); !errors.Is(err, IllegalAddress) {
		t.Errorf("error %v, want the exception", err)
	}
	a, err := b.Read(t.Context(), r)
	if err != nil {
		t.Fatal(err)
	}
	checkWords(t, r, a.Words)
}

func TestT10TrickledAnswerDoesNotStretchTheDeadline(t *testing.T) {
	t.Parallel()
	trickle := func(n int, request []byte) (parts []chunk) {
		for _, b := range healthyRTU(request) {
			parts = append(parts, chunk{after: 20 * time.Millisecond, bytes: []byte{b}})
		}
		return parts
	}
	const timeout = 120 * time.Millisecond
	start := time.Now()
	failed, wrong := bareOutcome(bareRTU(onPTY(t, trickle).path, timeout), 1, 10)
	if took := time.Since(start); failed+wrong != 0 || took < 3*timeout {
		t.Errorf("goburrow's handler: %d failed, after %v; expected an answer long after the timeout of %v", failed, took, timeout)
	}
	s := quick(RTU, onPTY(t, trickle).path)
	s.Timeout, s.LateLimit = 2*timeout, timeout/4
	_, err := openBus(t, s).Read(t.Context(), Request{Unit: 1, Table: HoldingRegisters, First: 100, Count: 10})
	if ReasonOf(err) != Timeout {
		t.Errorf("error %v, want a timeout", err)
	}
}

// bareRTUProcess reads one register with goburrow's own handler and says so.
func bareRTUProcess(args []string) {
	_, err := gomodbus.NewClient(bareRTU(args[0], 100*time.Millisecond)).ReadHoldingRegisters(100, 1)
	fmt.Println("returned:", err)
}

func TestT11PulledAdapterIsNoticedAndOpenedAgain(t *testing.T) {
	t.Parallel()
	asked := make(chan struct{}, 2)
	silent := func(int, []byte) []chunk {
		asked <- struct{}{}
		return nil
	}
	// goburrow's handler is a process of its own: nothing in its API ends its loop.
	var said bytes.Buffer
	p := onPTY(t, silent)
	bare := process(t, "goburrow", p.path)
	bare.Stdout = &said
	if err := bare.Start(); err != nil {
		t.Fatal(err)
	}
	<-asked
	p.pull()

	q := onPTY(t, silent)
	s := quick(RTU, q.path)
	s.Timeout = time.Minute
	b := openBus(t, s)
	r := Request{Unit: 1, Table: HoldingRegisters, First: 100, Count: 1}
	pulled := make(chan struct{})
	go func() {
		<-asked
		q.pull()
		close(pulled)
	}()
	if _, err := b.Read(t.Context(), r); ReasonOf(err) != Disconnected || !errors.Is(err, errGone) {
		t.Errorf("error %v, want that the device is gone", err)
	}
	<-pulled
	if _, err := b.Read(t.Context(), r); ReasonOf(err) != Disconnected || !errors.Is(err, unix.ENOENT) {
		t.Errorf("error %v, want that the path does not exist", err)
	}
	q.plug(t)
	q.serve(t, func(_ int, request []byte) []chunk { return whole(healthyRTU(request)) })
	a, err := b.Read(t.Context(), r)
	if err != nil {
		t.Fatalf("device is back: %v", err)
	}
	checkWords(t, r, a.Words)

	_ = bare.Process.Kill()
	_ = bare.Wait()
	if said.Len() > 0 {
		t.Errorf("goburrow's handler %s; expected it to go on reading for ever", said.String())
	}
}

func TestT12AnswerIsReadAsItsBytesCome(t *testing.T) {
	t.Parallel()
	healthy := func(_ int, request []byte) []chunk { return whole(healthyRTU(request)) }
	start := time.Now()
	if failed, wrong := bareOutcome(bareRTU(onPTY(t, healthy).path, time.Second), 1, 125); failed+wrong != 0 {
		t.Fatal("goburrow's handler failed on a healthy device")
	}
	bare := time.Since(start)
	b := openBus(t, quick(RTU, onPTY(t, healthy).path))
	if err := b.Settle(t.Context()); err != nil {
		t.Fatal(err)
	}
	start = time.Now()
	if failed := ourOutcome(t, b, 1, 125); failed != 0 {
		t.Fatal("a bus failed on a healthy device")
	}
	if own := time.Since(start); bare < 190*time.Millisecond || own > bare/2 {
		t.Errorf("125 registers took goburrow's handler %v and a bus %v; expected about 199 ms and far less", bare, own)
	}
}

func TestT13StrayBytesDoNotCostTheFrame(t *testing.T) {
	t.Parallel()
	stray := func(n int, request []byte) []chunk {
		switch f := healthyRTU(request); n % 3 {
		case 0:
			return whole(append([]byte{0x00}, f...))
		case 1:
			return whole(append(f, 0xFF))
		default:
			return whole(f)
		}
	}
	const reads = 12
	if failed, _ := bareOutcome(bareRTU(onPTY(t, stray).path, 50*time.Millisecond), reads, 4); failed < reads/2 {
		t.Errorf("goburrow's handler failed %d of %d reads, expected at least half", failed, reads)
	}
	b := openBus(t, quick(RTU, onPTY(t, stray).path))
	if failed := ourOutcome(t, b, reads, 4); failed != 0 {
		t.Errorf("a bus failed %d of %d reads, want 0", failed, reads)
	}
	if f := b.Facts(); f.Stray != 8 {
		t.Errorf("%d stray bytes counted, want 8", f.Stray)
	}
}

func TestT15AllFourParametersAreAlwaysSet(t *testing.T) {
	t.Parallel()
	good := Settings{Kind: RTU, Address: "/dev/ttyS0", Line: Line{Baud: 38400, Parity: NoParity, StopBits: 2}}
	c := serialConfig(&good)
	if c.BaudRate != 38400 || c.DataBits != 8 || c.Parity != "N" || c.StopBits != 2 {
		t.Errorf("the library gets %+v", c)
	}
	tests := []struct {
		name string
		line Line
		want string
	}{
		{"no baud rate", Line{Parity: EvenParity, StopBits: 1}, "baud rate 0; want one of"},
		{"odd baud rate", Line{Baud: 14400, Parity: EvenParity, StopBits: 1}, "baud rate 14400; want one of"},
		{"no parity", Line{Baud: 9600, StopBits: 1}, "parity is missing; want N, O or E"},
		{"no stop bits", Line{Baud: 9600, Parity: OddParity}, "0 stop bits; want 1 or 2"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			s := good
			s.Line = tt.line
			if _, err := Open(s); err == nil || !strings.Contains(err.Error(), tt.want) {
				t.Errorf("error %v, want %q", err, tt.want)
			}
		})
	}
	for _, baud := range Bauds {
		p := openPTY(t)
		s := quick(RTU, p.path)
		s.Line = Line{Baud: baud, Parity: NoParity, StopBits: 2}
		l, err := openSerial(t.Context(), &s)
		if err != nil {
			t.Fatalf("%d baud: %v", baud, err)
		}
		set, err := unix.IoctlGetTermios(l.(*serialLink).fd, unix.TCGETS)
		if err != nil || set.Cflag&unix.CSTOPB == 0 || set.Cflag&unix.CSIZE != unix.CS8 || set.Lflag != 0 {
			t.Errorf("%d baud: line is %+v (%v), want raw with 8 data and 2 stop bits", baud, set, err)
		}
		l.close()
	}
}

func TestT16PortIsLockedAgainstAnotherBus(t *testing.T) {
	t.Parallel()
	p := onPTY(t, func(_ int, request []byte) []chunk { return whole(healthyRTU(request)) })
	// goburrow's handler shares its port with anybody.
	for range 2 {
		h := bareRTU(p.path, 100*time.Millisecond)
		if err := h.Connect(); err != nil {
			t.Fatal(err)
		}
		defer h.Close()
	}
	first, second := openBus(t, quick(RTU, p.path)), openBus(t, quick(RTU, p.path))
	if failed := ourOutcome(t, first, 1, 1); failed != 0 {
		t.Fatal("first bus failed")
	}
	_, err := second.Read(t.Context(), Request{Unit: 1, Table: HoldingRegisters, Count: 1})
	if err == nil || !strings.Contains(err.Error(), "in use by another process") {
		t.Errorf("error %v, want that the port is in use", err)
	}
	first.Close()
	if failed := ourOutcome(t, second, 1, 1); failed != 0 {
		t.Error("second bus failed after the first let go")
	}
}

func TestT16FullPortIsWaitedForAndTheWholeFrameSent(t *testing.T) {
	t.Parallel()
	p := openPTY(t)
	s := quick(RTU, p.path)
	l, err := openSerial(t.Context(), &s)
	if err != nil {
		t.Fatal(err)
	}
	defer l.close()
	fd := l.(*serialLink).fd
	jam := 0
	for idle := 0; idle < 5; idle++ { // the kernel makes room for a while
		for filler := slices.Repeat([]byte{0x55}, 64); len(filler) > 0; {
			n, err := unix.Write(fd, filler)
			if err != nil {
				filler = filler[:len(filler)/2]
				continue
			}
			jam += n
			idle = 0
		}
		time.Sleep(2 * time.Millisecond)
	}
	_ = l.arm(time.Now().Add(5 * time.Millisecond))
	sent, err := l.write([]byte("frame"))
	if sent >= 5 || !errors.Is(err, os.ErrDeadlineExceeded) {
		t.Errorf("sent %d bytes through a full port with error %v, want a part and a timeout", sent, err)
	}
	go func() {
		rest := make([]byte, 256)
		for jam > 0 {
			n, err := p.far.Read(rest)
			if err != nil {
				return
			}
			jam -= n
		}
	}()
	_ = l.arm(time.Now().Add(time.Minute))
	if sent, err = l.write([]byte("frame")); sent != 5 || err != nil {
		t.Errorf("sent %d bytes with error %v, want all 5", sent, err)
	}
}

// TestT17NothingIsLogged cannot run beside others: the logger is the process's.
func TestT17NothingIsLogged(t *testing.T) {
	var said bytes.Buffer
	log.SetOutput(&said)
	defer log.SetOutput(os.Stderr)

	p := openPTY(t)
	port, err := serial.Open(&serial.Config{Address: p.path, BaudRate: 9600, Parity: "N", StopBits: 2, DataBits: 8})
	if err != nil {
		t.Fatal(err)
	}
	p.pull()
	port.Close()
	if said.Len() == 0 {
		t.Error("the library said nothing when a pulled device was closed, expected a line")
	}
	said.Reset()

	p.plug(t)
	p.serve(t, func(_ int, request []byte) []chunk { return whole(healthyRTU(request)) })
	b := openBus(t, quick(RTU, p.path))
	r := Request{Unit: 1, Table: HoldingRegisters, Count: 1}
	if _, err := b.Read(t.Context(), r); err != nil {
		t.Fatal(err)
	}
	p.pull()
	if _, err := b.Read(t.Context(), r); ReasonOf(err) != Disconnected {
		t.Errorf("error %v, want disconnected", err)
	}
	b.Close()
	if said.Len() > 0 {
		t.Errorf("a bus logged %q", said.String())
	}
	s := quick(RTU, os.DevNull)
	if _, err := openBus(t, s).Read(t.Context(), r); err == nil || said.Len() > 0 {
		t.Errorf("not a serial device: error %v, logged %q; want an error and no line", err, said.String())
	}
}
