package modbus

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"
	"testing"
)

func TestErrorText(t *testing.T) {
	err := fmt.Errorf("read pump-1: %w", &RangeError{Unit: 3, Table: HoldingRegisters, First: 100, Count: 10, Err: IllegalAddress})
	const want = "read pump-1: unit 3 holding registers 100..109: device refused: illegal data address (exception 2)"
	if got := err.Error(); got != want {
		t.Errorf("error text\n got %q\nwant %q", got, want)
	}
	if !errors.Is(err, IllegalAddress) {
		t.Error("errors.Is does not see the exception code")
	}
}

func TestReasonOf(t *testing.T) {
	tests := []struct {
		name string
		err  error
		want Reason
	}{
		{"none", nil, None},
		{"refused", DeviceBusy, Refused},
		{"refused", Exception(99), Refused},
		{"gateway_silence", GatewayPath, GatewaySilence},
		{"gateway_silence", GatewayTargetSilent, GatewaySilence},
		{"crc", faultf(Checksum, "x"), Checksum},
		{"disconnected", wrapFault(Disconnected, "x", io.EOF), Disconnected},
		{"cancelled", context.Canceled, Cancelled},
		{"timeout", context.DeadlineExceeded, Timeout},
		{"timeout", os.ErrDeadlineExceeded, Timeout},
		{"framing", io.ErrUnexpectedEOF, Framing},
	}
	for _, tt := range tests {
		got := ReasonOf(tt.err)
		if got != tt.want || got.String() != tt.name {
			t.Errorf("reason of %v is %v, want %s", tt.err, got, tt.name)
		}
		if tt.err != nil && ReasonOf(&RangeError{Err: fmt.Errorf("deeper: %w", tt.err)}) != tt.want {
			t.Errorf("reason of %v is lost when wrapped", tt.err)
		}
	}
}

func TestReasonsAreAllNamed(t *testing.T) {
	var names []string
	for _, r := range Reasons() {
		names = append(names, r.String())
	}
	const want = "timeout refused framing crc disconnected settling backoff cancelled invalid gateway_silence"
	if got := strings.Join(names, " "); got != want {
		t.Errorf("reasons %q, want %q", got, want)
	}
}

func TestExceptionText(t *testing.T) {
	if got, want := Exception(99).Error(), "device refused: unknown reason (exception 99)"; got != want {
		t.Errorf("text %q, want %q", got, want)
	}
}

func TestRequestsThatBreakALimitAreNotAsked(t *testing.T) {
	tests := []struct {
		name string
		kind Kind
		r    Request
		want string
	}{
		{"no table", TCP, Request{Unit: 1, Count: 1}, "unit 1 table 0 0..0: not asked: table 0 cannot be read; want 1 to 4"},
		{"no registers", TCP, Request{Unit: 1, Table: HoldingRegisters, First: 5}, "unit 1 holding registers 5..4: not asked: 0 holding registers; want 1 to 125"},
		{"126 registers", TCP, Request{Unit: 1, Table: InputRegisters, Count: 126}, "unit 1 input registers 0..125: not asked: 126 input registers; want 1 to 125"},
		{"2001 coils", TCP, Request{Unit: 1, Table: Coils, Count: 2001}, "unit 1 coils 0..2000: not asked: 2001 coils; want 1 to 2000"},
		{"past the last address", TCP, Request{Unit: 1, Table: Coils, First: 65535, Count: 2}, "unit 1 coils 65535..65536: not asked: last address is above 65535"},
		{"broadcast on a serial line", RTUOverTCP, Request{Unit: 0, Table: Coils, Count: 1}, "unit 0 coils 0..0: not asked: unit 0 on a serial line; want 1 to 247"},
		{"reserved unit on a serial line", RTU, Request{Unit: 248, Table: DiscreteInputs, Count: 1}, "unit 248 discrete inputs 0..0: not asked: unit 248 on a serial line; want 1 to 247"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			b, wire := recorded(t, tt.kind)
			_, err := b.Read(t.Context(), tt.r)
			if err == nil || err.Error() != tt.want || ReasonOf(err) != Invalid {
				t.Errorf("error\n got %v\nwant %s", err, tt.want)
			}
			if wire.Len() > 0 || b.Facts().FaultCount(Invalid) != 1 {
				t.Errorf("sent % x, counted %d invalid", wire.Bytes(), b.Facts().FaultCount(Invalid))
			}
		})
	}
}
