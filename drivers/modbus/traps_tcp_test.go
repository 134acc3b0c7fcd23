package modbus

import (
	"context"
	"errors"
	"net"
	"sync"
	"syscall"
	"testing"
	"time"

	gomodbus "github.com/goburrow/modbus"
	"golang.org/x/sys/unix"
)

// bareTCP reads n times with goburrow's own handler and returns how many
// reads failed.
func bareTCP(t *testing.T, address string, n int) (failed int) {
	t.Helper()
	h := gomodbus.NewTCPClientHandler(address)
	h.SlaveId, h.Timeout = 1, 100*time.Millisecond
	defer h.Close()
	client := gomodbus.NewClient(h)
	for range n {
		if _, err := client.ReadHoldingRegisters(100, 4); err != nil {
			failed++
		}
	}
	return failed
}

// ours reads n times with a Bus, demands that no value is wrong, and returns
// how many reads failed.
func ours(t *testing.T, b *Bus, n int) (failed int) {
	t.Helper()
	r := Request{Unit: 1, Table: HoldingRegisters, First: 100, Count: 4}
	for range n {
		a, err := b.Read(t.Context(), r)
		if err != nil {
			failed++
			continue
		}
		checkWords(t, r, a.Words)
	}
	return failed
}

func TestT1OneLateTCPAnswerCostsOneRead(t *testing.T) {
	t.Parallel()
	late := func(n int, request []byte) []chunk {
		if n == 2 {
			return []chunk{{after: 150 * time.Millisecond, bytes: healthyTCP(request)}}
		}
		return whole(healthyTCP(request))
	}
	const reads = 30
	if failed := bareTCP(t, serveTCP(t, readTCP, late), reads); failed < reads-3 {
		t.Errorf("goburrow's handler failed %d of %d reads, expected nearly all", failed, reads)
	}
	s := quick(TCP, serveTCP(t, readTCP, late))
	s.Timeout = 100 * time.Millisecond
	b := openBus(t, s)
	// A busy machine may delay another answer as well.
	failed := ours(t, b, reads)
	if failed < 1 || failed > 3 {
		t.Errorf("a bus failed %d of %d reads, want 1", failed, reads)
	}
	if f := b.Facts(); f.FaultCount(Timeout) != uint64(failed) || f.Opened != uint64(1+failed) {
		t.Errorf("facts %+v, want one new connection for each of %d timeouts", f, failed)
	}
}

func TestT2PeerThatClosesOnceIsDialledAgain(t *testing.T) {
	t.Parallel()
	closing := func(n int, request []byte) []chunk {
		if n == 2 {
			return []chunk{{hang: true}}
		}
		return whole(healthyTCP(request))
	}
	const reads = 30
	if failed := bareTCP(t, serveTCP(t, readTCP, closing), reads); failed < reads-3 {
		t.Errorf("goburrow's handler failed %d of %d reads, expected nearly all", failed, reads)
	}
	b := openBus(t, quick(TCP, serveTCP(t, readTCP, closing)))
	if failed := ours(t, b, reads); failed != 1 {
		t.Errorf("a bus failed %d of %d reads, want 1", failed, reads)
	}
	if f := b.Facts(); f.FaultCount(Disconnected) != 1 {
		t.Errorf("facts %+v, want one disconnection", f)
	}
}

func TestT2PeerThatClosesIdleConnectionsCostsNothing(t *testing.T) {
	t.Parallel()
	hungUp := make(chan struct{}, 2)
	address := serveTCP(t, readTCP, func(_ int, request []byte) []chunk {
		defer func() { hungUp <- struct{}{} }()
		return []chunk{{bytes: healthyTCP(request)}, {after: time.Millisecond, hang: true}}
	})
	b := openBus(t, quick(TCP, address))
	if ours(t, b, 1) != 0 {
		t.Fatal("first read failed")
	}
	<-hungUp
	time.Sleep(30 * time.Millisecond) // the device hangs up within this time
	if ours(t, b, 1) != 0 {
		t.Error("read after the hang-up failed, want a new connection")
	}
}

func TestT4ShortWellFormedAnswerIsAnError(t *testing.T) {
	t.Parallel()
	short := func(_ int, request []byte) []chunk {
		return whole(tcpFrame(request, []byte{3, 4, 0, 1, 0, 2})) // two registers, whatever was asked
	}
	h := gomodbus.NewTCPClientHandler(serveTCP(t, readTCP, short))
	h.SlaveId = 1
	defer h.Close()
	data, err := gomodbus.NewClient(h).ReadHoldingRegisters(100, 10)
	if err != nil || len(data) != 4 {
		t.Errorf("goburrow's client returned %d bytes and %v, expected 4 and no error", len(data), err)
	}
	b := openBus(t, quick(TCP, serveTCP(t, readTCP, short)))
	_, err = b.Read(t.Context(), Request{Unit: 1, Table: HoldingRegisters, First: 100, Count: 10})
	const want = "unit 1 holding registers 100..109: answer has 4 data bytes, want 20"
	if err == nil || err.Error() != want || ReasonOf(err) != Framing {
		t.Errorf("error\n got %v\nwant %s", err, want)
	}
	if b.Facts().Open {
		t.Error("connection stays open after a wrong frame")
	}
}

func TestT5ClosingDoesNotWaitBehindAHangingDevice(t *testing.T) {
	t.Parallel()
	asked := make(chan struct{}, 2)
	silent := func(int, []byte) []chunk {
		asked <- struct{}{}
		return nil
	}
	h := gomodbus.NewTCPClientHandler(serveTCP(t, readTCP, silent))
	h.Timeout = 150 * time.Millisecond
	var wg sync.WaitGroup
	start := time.Now()
	wg.Go(func() {
		if _, err := gomodbus.NewClient(h).ReadHoldingRegisters(1, 1); err == nil {
			t.Error("goburrow's read succeeded")
		}
	})
	<-asked
	h.Close()
	if waited := time.Since(start); waited < h.Timeout {
		t.Errorf("goburrow's Close returned after %v, expected it to wait for the timeout of %v", waited, h.Timeout)
	}
	wg.Wait()

	s := quick(TCP, serveTCP(t, readTCP, silent))
	s.Timeout = time.Hour
	b := openBus(t, s)
	ctx, cancel := context.WithCancel(t.Context())
	wg.Go(func() {
		<-asked
		cancel()
	})
	_, err := b.Read(ctx, Request{Unit: 1, Table: HoldingRegisters, Count: 1})
	wg.Wait()
	if !errors.Is(err, context.Canceled) {
		t.Errorf("error %v, want context canceled long before the hour is over", err)
	}
}

// fullListener is a port whose queue of connections is full, so that the next
// dial hangs until room is made.
func fullListener(t *testing.T) (address string, makeRoom func()) {
	t.Helper()
	fd, err := unix.Socket(unix.AF_INET, unix.SOCK_STREAM|unix.SOCK_CLOEXEC, 0)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { unix.Close(fd) })
	if err := errors.Join(unix.Bind(fd, &unix.SockaddrInet4{Addr: [4]byte{127, 0, 0, 1}}), unix.Listen(fd, 0)); err != nil {
		t.Fatal(err)
	}
	name, err := unix.Getsockname(fd)
	if err != nil {
		t.Fatal(err)
	}
	a := name.(*unix.SockaddrInet4)
	address = (&net.TCPAddr{IP: a.Addr[:], Port: a.Port}).String()
	filler, err := net.Dial("tcp", address)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { filler.Close() })
	return address, func() {
		accepted, _, err := unix.Accept(fd)
		if err == nil {
			t.Cleanup(func() { unix.Close(accepted) })
		}
	}
}

func TestT6TheDeadlineIncludesTheDial(t *testing.T) {
	t.Parallel()
	// A lost SYN is sent again after 1 s (RFC 6298, §2.1): the dial takes that long.
	const timeout = 1100 * time.Millisecond
	var wg sync.WaitGroup
	measure := func(read func(address string) error) time.Duration {
		address, makeRoom := fullListener(t)
		wg.Go(func() {
			time.Sleep(200 * time.Millisecond)
			makeRoom()
		})
		start := time.Now()
		if err := read(address); err == nil {
			t.Error("read from a silent device succeeded")
		}
		return time.Since(start)
	}
	var bare, own time.Duration
	wg.Go(func() {
		bare = measure(func(address string) error {
			h := gomodbus.NewTCPClientHandler(address)
			h.Timeout = timeout
			defer h.Close()
			_, err := gomodbus.NewClient(h).ReadHoldingRegisters(1, 1)
			return err
		})
	})
	wg.Go(func() {
		own = measure(func(address string) error {
			s := quick(TCP, address)
			s.Timeout = timeout
			b, err := Open(s)
			if err != nil {
				return err
			}
			defer b.Close()
			_, err = b.Read(context.Background(), Request{Unit: 1, Table: HoldingRegisters, Count: 1})
			if ReasonOf(err) != Timeout {
				t.Errorf("error %v, want a timeout", err)
			}
			return err
		})
	})
	wg.Wait()
	if bare < timeout+500*time.Millisecond {
		t.Errorf("goburrow's handler gave up after %v, expected dial and timeout of %v one after the other", bare, timeout)
	}
	if own >= bare-500*time.Millisecond {
		t.Errorf("a bus gave up after %v and goburrow's handler after %v; want one deadline for dial and answer", own, bare)
	}
}

func TestT14EveryUnitHasItsPackagerAndTheBusOneConnection(t *testing.T) {
	t.Parallel()
	b := openBus(t, quick(TCP, serveTCP(t, readTCP, func(_ int, request []byte) []chunk {
		return whole(healthyTCP(request))
	})))
	for range 5 {
		for _, unit := range []byte{1, 2, 17, 255, 0} {
			r := Request{Unit: unit, Table: InputRegisters, First: 5, Count: 3}
			a, err := b.Read(t.Context(), r)
			if err != nil {
				t.Fatal(err)
			}
			checkWords(t, r, a.Words)
		}
	}
	if f := b.Facts(); f.Opened != 1 {
		t.Errorf("opened %d connections, want 1", f.Opened)
	}
	if b.units[1].packager == b.units[2].packager {
		t.Error("units share a packager")
	}
}

func TestAnswersThatBelongToAnotherQuestionAreRefused(t *testing.T) {
	t.Parallel()
	r := Request{Unit: 1, Table: HoldingRegisters, First: 100, Count: 4}
	tests := []struct {
		name string
		lie  func(frame []byte) []byte
		want string
	}{
		{"transaction of the past", func(f []byte) []byte { f[1]--; return f }, "answer belongs to transaction 0, want 1"},
		{"another protocol", func(f []byte) []byte { f[3] = 1; return f }, "answer has protocol identifier 1, want 0"},
		{"length zero", func(f []byte) []byte { f[5] = 0; return f }, "answer has length 0, want 3 to 254"},
		{"length beyond the longest frame", func(f []byte) []byte { f[4] = 1; return f }, "answer has length 267, want 3 to 254"},
		{"another unit", func(f []byte) []byte { f[6] = 2; return f }, "answer is from unit 2, want 1"},
		{"another function", func(f []byte) []byte { f[7] = 4; return f }, "answer has function 4, want 3"},
		{"exception of another function", func(f []byte) []byte { return append(f[:5:5], 3, 1, 0x84, 2) }, "answer has function 132, want 3"},
		{"byte count of fewer registers", func(f []byte) []byte { f[8] = 6; return f }, "answer has 6 data bytes, want 8"},
		{"length says more than the byte count", func(f []byte) []byte { f[5]++; return append(f, 0) }, "answer has a PDU of 11 bytes, want 10"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			b := openBus(t, quick(TCP, serveTCP(t, readTCP, func(n int, request []byte) []chunk {
				if n > 0 {
					return whole(healthyTCP(request))
				}
				return whole(tt.lie(healthyTCP(request)))
			})))
			_, err := b.Read(t.Context(), r)
			if want := "unit 1 holding registers 100..103: " + tt.want; err == nil || err.Error() != want {
				t.Fatalf("error\n got %v\nwant %s", err, want)
			}
			a, err := b.Read(t.Context(), r)
			if err != nil {
				t.Fatalf("next read: %v", err)
			}
			checkWords(t, r, a.Words)
		})
	}
}

func TestBytesBehindATCPAnswerCloseTheConnection(t *testing.T) {
	t.Parallel()
	b := openBus(t, quick(TCP, serveTCP(t, readTCP, func(_ int, request []byte) []chunk {
		return whole(append(healthyTCP(request), 0xAA))
	})))
	if failed := ours(t, b, 5); failed != 0 {
		t.Errorf("%d reads failed, want 0: each answer is right", failed)
	}
	if f := b.Facts(); f.Opened != 5 || f.Stray != 5 {
		t.Errorf("facts %+v, want 5 connections and 5 stray bytes", f)
	}
}

func TestRefusedDialBacksOff(t *testing.T) {
	t.Parallel()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	address := l.Addr().String()
	l.Close()
	s := quick(TCP, address)
	s.RetryFirst, s.RetryMost = time.Hour, time.Hour
	b := openBus(t, s)
	r := Request{Unit: 1, Table: HoldingRegisters, Count: 1}
	_, err = b.Read(t.Context(), r)
	if ReasonOf(err) != Disconnected || !errors.Is(err, syscall.ECONNREFUSED) {
		t.Errorf("first error %v, want connection refused", err)
	}
	if _, err = b.Read(t.Context(), r); ReasonOf(err) != BackingOff {
		t.Errorf("second error %v, want back-off", err)
	}
	if u := b.UnitFacts(1); u.Failures != 0 {
		t.Errorf("unit has %d failures, want 0: it was never asked", u.Failures)
	}
}
