package modbus

import (
	"strings"
	"testing"
	"time"
)

func TestSettingsCheck(t *testing.T) {
	line := Line{Baud: 9600, Parity: EvenParity, StopBits: 1}
	tests := []struct {
		name string
		s    Settings
		want string // empty for none
	}{
		{"tcp", Settings{Kind: TCP, Address: "10.0.0.7:502"}, ""},
		{"tcp with an address of IPv6", Settings{Kind: TCP, Address: "[fd00::7]:502"}, ""},
		{"rtu", Settings{Kind: RTU, Address: "/dev/ttyS1", Line: line}, ""},
		{"serial server without a line", Settings{Kind: RTUOverTCP, Address: "10.0.0.7:4001"}, ""},
		{"no kind", Settings{Address: "10.0.0.7:502"}, "kind of bus is missing; want tcp, rtu or rtu over tcp"},
		{"no port", Settings{Kind: TCP, Address: "10.0.0.7"}, `address "10.0.0.7": missing port in address; want host:port, such as 192.0.2.11:502`},
		{"no device", Settings{Kind: RTU, Line: line}, "address is empty; want the path of a serial device"},
		{"rtu without a line", Settings{Kind: RTU, Address: "/dev/ttyS1"}, "baud rate 0; want one of"},
		{"serial server with half a line", Settings{Kind: RTUOverTCP, Address: "10.0.0.7:4001", Line: Line{Baud: 9600}}, "parity is missing; want N, O or E"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			got := ""
			if err := tt.s.Check(); err != nil {
				got = err.Error()
			}
			if (tt.want == "") != (got == "") || !strings.HasPrefix(got, tt.want) {
				t.Errorf("problem %q, want %q", got, tt.want)
			}
		})
	}
}

func TestTimeoutOfARequest(t *testing.T) {
	line := Line{Baud: 1200, Parity: EvenParity, StopBits: 1}
	tests := []struct {
		name string
		s    Settings
		r    Request
		want time.Duration
	}{
		{"its own", Settings{Kind: TCP, Timeout: 2 * time.Second}, Request{Timeout: 3 * time.Second}, 3 * time.Second},
		{"the bus's", Settings{Kind: TCP, Timeout: 2 * time.Second}, Request{}, 2 * time.Second},
		// 1 s + (13+250)·11/1200 s + 3·38.5/1200 s
		{"by default a second more than the bytes take", Settings{Kind: RTU, Line: line}, Request{Table: HoldingRegisters, Count: 125}, 3507083333},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			if got := tt.s.timeout(tt.r); got.Round(time.Microsecond) != tt.want.Round(time.Microsecond) {
				t.Errorf("timeout %v, want %v", got, tt.want)
			}
		})
	}
}

func TestBackoffPauses(t *testing.T) {
	b := openBus(t, Settings{Kind: TCP, Address: "127.0.0.1:502", RetryFirst: time.Second, RetryMost: 10 * time.Second})
	var failing backoff
	now := time.Unix(0, 0)
	for i, most := range []time.Duration{0, 0, 1, 2, 4, 8, 10, 10} {
		most *= time.Second
		failing.failed(now, &b.pace, 2)
		if got := failing.wait(now); got > most || got < most*3/4 {
			t.Errorf("pause after failure %d is %v, want %v to %v", i+1, got, most*3/4, most)
		}
	}
	for range 100 { // shifting a duration so often would overflow
		failing.failed(now, &b.pace, 2)
	}
	if got := failing.wait(now); got < 7500*time.Millisecond || got > 10*time.Second {
		t.Errorf("pause after 108 failures is %v, want the most", got)
	}
	failing.succeeded()
	if got := failing.wait(now); got != 0 {
		t.Errorf("pause after an answer is %v, want none", got)
	}
}

func TestUnitNeverAskedHasOnlyItsLateLimit(t *testing.T) {
	b := openBus(t, Settings{Kind: TCP, Address: "127.0.0.1:502"})
	if got := b.UnitFacts(3); got != (UnitFacts{LateLimit: time.Second}) {
		t.Errorf("facts %+v, want only the late limit", got)
	}
}
