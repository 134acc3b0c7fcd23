package modbus

import (
	"encoding/binary"
	"errors"
	"fmt"
	"net"
	"sync"
	"testing"
	"testing/synctest"
	"time"
)

func TestGarbledAnswersCostOneReadEach(t *testing.T) {
	r := Request{Unit: 1, Table: HoldingRegisters, First: 100, Count: 4}
	good := rtuFrame(1, healthyPDU(1, []byte{3, 0, 100, 0, 4})...)
	change := func(i int, b byte) []byte {
		f := append([]byte{}, good...)
		f[i] = b
		return f
	}
	trailer := func(frame []byte) uint16 { return binary.LittleEndian.Uint16(frame[len(frame)-2:]) }
	tests := []struct {
		name   string
		answer []byte
		reason Reason
		want   string
	}{
		{"a bit error in the data", change(5, 0xFF), Checksum, fmt.Sprintf("answer has checksum %04x, its bytes give %04x", trailer(good), trailer(rtuFrame(1, change(5, 0xFF)[1:11]...)))},
		{"a bit error in the unit", change(0, 5), Framing, "answer is from unit 5, want 1"},
		{"an answer to another count", rtuFrame(1, 3, 4, 0, 1, 0, 2), Framing, "answer has 4 data bytes, want 8"},
		{"an answer of another unit", rtuFrame(2, healthyPDU(2, []byte{3, 0, 100, 0, 4})...), Framing, "answer is from unit 2, want 1"},
		{"an adapter that echoes", rtuFrame(1, 3, 0, 100, 0, 4), Framing, "the request itself came back; switch off the echo of the adapter"},
		{"half an answer", good[:7], Timeout, "no whole answer in time"},
		{"nothing", nil, Timeout, "no whole answer in time"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				l := &simulatedLine{}
				l.delay = func(n int) time.Duration {
					if n > 0 {
						return 20 * ms
					}
					l.say(20*ms, tt.answer)
					return -1
				}
				b := onLine(t, Settings{Timeout: 200 * ms, LateLimit: 300 * ms, RetryFirst: 1, RetryMost: 1}, l)
				settled(t, b)
				_, err := b.Read(t.Context(), r)
				if want := "unit 1 holding registers 100..103: " + tt.want; err == nil || err.Error() != want || ReasonOf(err) != tt.reason {
					t.Errorf("error %v (%v)\nwant  %s (%v)", err, ReasonOf(err), want, tt.reason)
				}
				start := time.Now()
				settled(t, b)
				if silent := time.Since(start); silent != 300*ms {
					t.Errorf("silent for %v after the fault, want the late limit of 300ms", silent)
				}
				a, err := b.Read(t.Context(), r)
				if err != nil {
					t.Fatalf("next read: %v", err)
				}
				checkWords(t, r, a.Words)
				if f := b.Facts(); f.FaultCount(tt.reason) != 1 || f.Opened != 1 {
					t.Errorf("facts %+v, want one fault and the port kept open", f)
				}
			})
		})
	}
}

func TestMoreThanNoiseBehindAnAnswerSilencesTheLine(t *testing.T) {
	tests := []struct {
		name  string
		extra int
		want  time.Duration
	}{
		{"nothing", 0, line9600.Gap()},
		{"three bytes are noise", 3, line9600.Gap()},
		{"four bytes may be an answer", 4, 300 * ms},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				l := &simulatedLine{}
				l.delay = func(n int) time.Duration {
					l.say(20*ms, append(healthyRTU(l.written[n]), make([]byte, tt.extra)...))
					return -1
				}
				b := onLine(t, Settings{LateLimit: 300 * ms}, l)
				settled(t, b)
				r := Request{Unit: 1, Table: HoldingRegisters, Count: 1}
				a, err := b.Read(t.Context(), r)
				if err != nil {
					t.Fatal(err)
				}
				checkWords(t, r, a.Words)
				start := time.Now()
				settled(t, b)
				if got := time.Since(start); got != tt.want {
					t.Errorf("silent for %v, want %v", got, tt.want)
				}
			})
		})
	}
}

// TestSerialServerThatKeepsAnOldAnswer has a serial server that hands what
// came while nobody was connected to whoever connects next.
func TestSerialServerThatKeepsAnOldAnswer(t *testing.T) {
	t.Parallel()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	var wg sync.WaitGroup
	wg.Go(func() {
		var kept []byte
		for n := 0; ; n++ {
			conn, err := l.Accept()
			if err != nil {
				return
			}
			play(conn, whole(kept))
			for {
				request, err := readRTU(conn)
				if err != nil {
					conn.Close()
					break
				}
				if kept = healthyRTU(request); n > 0 {
					play(conn, whole(kept))
				}
			}
		}
	})
	s := quick(RTUOverTCP, l.Addr().String())
	s.Timeout = 1000 * ms
	b := openBus(t, s)
	defer func() {
		b.Close()
		l.Close()
		wg.Wait()
	}()
	first := Request{Unit: 1, Table: HoldingRegisters, First: 100, Count: 1}
	if _, err := b.Read(t.Context(), first); ReasonOf(err) != Timeout {
		t.Fatalf("error %v, want a timeout", err)
	}
	second := Request{Unit: 1, Table: HoldingRegisters, First: 200, Count: 1}
	a, err := b.Read(t.Context(), second)
	if err != nil {
		t.Fatal(err)
	}
	checkWords(t, second, a.Words)
	if f := b.Facts(); f.Opened != 2 || f.LateFrame != 1 {
		t.Errorf("facts %+v, want a second connection and one late frame", f)
	}
}

func TestGatewayThatFindsNoDeviceMakesTheUnitBackOff(t *testing.T) {
	t.Parallel()
	b := openBus(t, func() Settings {
		s := quick(TCP, serveTCP(t, readTCP, func(_ int, request []byte) []chunk {
			if request[6] == 9 {
				return whole(tcpFrame(request, []byte{0x83, 11}))
			}
			return whole(healthyTCP(request))
		}))
		s.RetryFirst, s.RetryMost = time.Hour, time.Hour
		return s
	}())
	for unit, want := range map[byte]Reason{1: None, 9: BackingOff} {
		r := Request{Unit: unit, Table: HoldingRegisters, Count: 1}
		var err error
		for range 4 {
			_, err = b.Read(t.Context(), r)
		}
		if ReasonOf(err) != want {
			t.Errorf("unit %d: fourth error %v, want %v", unit, err, want)
		}
	}
	if _, err := b.Read(t.Context(), Request{Unit: 9, Table: HoldingRegisters, Count: 1}); errors.Is(err, GatewayTargetSilent) {
		t.Error("the unit was asked again at once")
	}
}
