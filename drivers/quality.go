package drivers

import "fmt"

// A Quality says how far a value can be trusted, in the three steps of OPC UA
// (IEC 62541-4: good, uncertain, bad).
type Quality uint8

// The zero Quality is Bad: a reading nobody filled in must not be believed.
const (
	Bad Quality = iota
	Uncertain
	Good
)

var qualityWords = [...]string{Bad: "bad", Uncertain: "uncertain", Good: "good"}

// String gives the word for q.
func (q Quality) String() string { return qualityWords[min(int(q), int(Good))] }

// MarshalText writes the word for q.
func (q Quality) MarshalText() ([]byte, error) { return []byte(q.String()), nil }

// UnmarshalText reads what MarshalText wrote.
func (q *Quality) UnmarshalText(text []byte) error {
	i, err := wordIndex("quality", qualityWords[:], string(text))
	*q = Quality(i)
	return err
}

// A Reason says why a value is not good.
type Reason uint8

// The reasons; [ReasonNone] goes with Good.
const (
	ReasonNone    Reason = iota
	NeverRead            // no answer since the agent started
	Timeout              // the device did not answer in time
	Refused              // the device answered with an exception
	Disconnected         // the bus or the device's connection is down
	Garbled              // the answer broke the protocol
	BackingOff           // the device is left alone for a while after failures
	NotAvailable         // the device said "no value": NaN or its pattern
	OutOfRange           // outside the engineering range of its row
	LoopFailed           // 4–20 mA loop failed by NAMUR NE 43, held 4 s
	LoopUncertain        // 4–20 mA loop between valid and failed
	Frozen               // bit-identical for long while another signal moves
	Repeated             // the same sample polled twice: counted once
	Stale                // older than three beats
	Late                 // arrived after later readings were already used
	ShuttingDown         // read while the agent was stopping
	ReasonCount          // one past the last reason
)

var reasonWords = [ReasonCount]string{
	"", "never_read", "timeout", "refused", "disconnected", "garbled", "backing_off", "not_available", "out_of_range",
	"loop_failed", "loop_uncertain", "frozen", "repeated", "stale", "late", "shutting_down",
}

// String gives the word for r, "" for none.
func (r Reason) String() string {
	if r < ReasonCount {
		return reasonWords[r]
	}
	return fmt.Sprintf("reason_%d", uint8(r))
}

// MarshalText writes the word for r.
func (r Reason) MarshalText() ([]byte, error) { return []byte(r.String()), nil }

// UnmarshalText reads what MarshalText wrote.
func (r *Reason) UnmarshalText(text []byte) error {
	i, err := wordIndex("reason", reasonWords[:], string(text))
	*r = Reason(i)
	return err
}

// Comms reports whether r blames the way to the device rather than the value:
// such reasons make one comms alarm per device, not one per signal.
func (r Reason) Comms() bool {
	switch r {
	case NeverRead, Timeout, Refused, Disconnected, Garbled, BackingOff, Stale, ShuttingDown:
		return true
	}
	return false
}

func wordIndex(what string, words []string, text string) (int, error) {
	for i, w := range words {
		if w == text {
			return i, nil
		}
	}
	return 0, fmt.Errorf("%q is not a %s", text, what)
}
