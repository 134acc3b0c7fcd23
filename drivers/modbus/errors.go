package modbus

import (
	"context"
	"errors"
	"fmt"
	"os"
)

// A RangeError says which items were being read when something failed.
type RangeError struct {
	Unit  byte
	Table Table
	First uint16 // zero-based address on the wire
	Count uint16
	Err   error
}

func (e *RangeError) Error() string {
	return fmt.Sprintf("unit %d %v %d..%d: %v", e.Unit, e.Table, e.First, int(e.First)+int(e.Count)-1, e.Err)
}

// Unwrap gives errors.Is and errors.As the cause.
func (e *RangeError) Unwrap() error { return e.Err }

// An Exception is a device's well-formed refusal. It is comparable, so
// errors.Is(err, IllegalAddress) works.
type Exception byte

// The exception codes of MODBUS Application Protocol V1.1b3, §7.
const (
	IllegalFunction     Exception = 1
	IllegalAddress      Exception = 2
	IllegalValue        Exception = 3
	DeviceFailure       Exception = 4
	Acknowledge         Exception = 5
	DeviceBusy          Exception = 6
	MemoryParity        Exception = 8
	GatewayPath         Exception = 10
	GatewayTargetSilent Exception = 11
)

var exceptionNames = map[Exception]string{
	IllegalFunction:     "illegal function",
	IllegalAddress:      "illegal data address",
	IllegalValue:        "illegal data value",
	DeviceFailure:       "device failure",
	Acknowledge:         "accepted, not ready yet",
	DeviceBusy:          "device busy",
	MemoryParity:        "memory parity error",
	GatewayPath:         "gateway has no path",
	GatewayTargetSilent: "device behind the gateway does not answer",
}

func (e Exception) Error() string {
	name, known := exceptionNames[e]
	if !known {
		name = "unknown reason"
	}
	return fmt.Sprintf("device refused: %s (exception %d)", name, byte(e))
}

// A Reason is why a read gave no values: one word of a fixed list, fit for the
// label of a metric.
type Reason uint8

// Reasons. The zero Reason is no failure.
const (
	None           Reason = iota
	Timeout               // no or no whole answer within the deadline
	Refused               // the device answered with an exception
	Framing               // an answer of the wrong shape, unit, function or number
	Checksum              // RTU checksum wrong
	Disconnected          // no connection, or it broke
	Settling              // the line was not yet silent after an earlier fault
	BackingOff            // not asked: the unit or the connection failed lately
	Cancelled             // the caller's context ended
	Invalid               // the request breaks a limit; nothing was sent
	GatewaySilence        // a gateway answered that the device behind it does not
	reasonCount
)

var reasonNames = [reasonCount]string{
	"none", "timeout", "refused", "framing", "crc",
	"disconnected", "settling", "backoff", "cancelled", "invalid", "gateway_silence",
}

func (r Reason) String() string {
	if r >= reasonCount {
		return fmt.Sprintf("reason %d", uint8(r))
	}
	return reasonNames[r]
}

// Reasons returns every reason a read can fail for.
func Reasons() []Reason {
	all := make([]Reason, 0, reasonCount-1)
	for r := Timeout; r < reasonCount; r++ {
		all = append(all, r)
	}
	return all
}

// ReasonOf returns why a read failed; None for nil, Framing for an error that
// is none of ours.
func ReasonOf(err error) Reason {
	var f *fault
	var e Exception
	switch {
	case err == nil:
		return None
	case errors.As(err, &f):
		return f.reason
	case errors.As(err, &e) && (e == GatewayPath || e == GatewayTargetSilent):
		return GatewaySilence
	case errors.As(err, &e):
		return Refused
	case errors.Is(err, context.Canceled):
		return Cancelled
	case errors.Is(err, context.DeadlineExceeded), errors.Is(err, os.ErrDeadlineExceeded):
		return Timeout
	}
	return Framing
}

// A fault is a failure with its reason.
type fault struct {
	reason Reason
	text   string
	err    error // may be nil
}

func (f *fault) Error() string {
	if f.err == nil {
		return f.text
	}
	return f.text + ": " + f.err.Error()
}

func (f *fault) Unwrap() error { return f.err }

func faultf(r Reason, format string, args ...any) error {
	return &fault{reason: r, text: fmt.Sprintf(format, args...)}
}

func wrapFault(r Reason, text string, err error) error {
	return &fault{reason: r, text: text, err: err}
}
