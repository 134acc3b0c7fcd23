package probe

import (
	"errors"
	"fmt"
	"time"

	"pumpside/drivers/modbus"
)

// A Tally is what became of the reads of one unit.
type Tally struct {
	Reads    int
	Answers  int                      // whole and right, refusals included
	Faults   map[modbus.Reason]int    // reads without values, by reason
	Refusals map[modbus.Exception]int // of the reads that were refused
	Longest  int                      // checksum and framing faults in a row
	Late     uint64                   // answers that came after their read was given up
	Slowest  time.Duration            // answer of them all, late ones included
	Timeout  time.Duration            // that was given
	Serial   bool                     // a serial line, not Modbus TCP
	inARow   int
}

// Add notes one read that ended with err, nil for values.
func (t *Tally) Add(err error) {
	t.Reads++
	reason := modbus.ReasonOf(err)
	if reason == modbus.None || reason == modbus.Refused {
		t.Answers++
	}
	if reason == modbus.Checksum || reason == modbus.Framing {
		t.inARow++
		t.Longest = max(t.Longest, t.inARow)
	} else {
		t.inARow = 0
	}
	if reason == modbus.None {
		return
	}
	if t.Faults == nil {
		t.Faults, t.Refusals = map[modbus.Reason]int{}, map[modbus.Exception]int{}
	}
	t.Faults[reason]++
	if e, is := errors.AsType[modbus.Exception](err); is {
		t.Refusals[e]++
	}
}

// Failed counts the reads that gave no values.
func (t *Tally) Failed() int {
	n := 0
	for _, count := range t.Faults {
		n += count
	}
	return n
}

// A pattern of faults that means something, and what it means. The
// explanations are common practice on RS-485 lines, no source.
type pattern struct {
	holds func(t *Tally) bool
	words func(t *Tally) string
}

var patterns = []pattern{
	{
		func(t *Tally) bool { return t.Late > 0 || t.Answers > 0 && 10*t.Slowest > 8*t.Timeout },
		func(t *Tally) string {
			if t.Late > 0 {
				return fmt.Sprintf("%d answer(s) came after they were given up: raise the timeout to at least %v, twice the slowest answer measured (%v).", t.Late, twice(t.Slowest), round(t.Slowest))
			}
			return fmt.Sprintf("The slowest answer took %v of the %v allowed: raise the timeout to at least %v.", round(t.Slowest), round(t.Timeout), twice(t.Slowest))
		},
	},
	{
		func(t *Tally) bool { return t.Serial && t.Answers == 0 && t.only(modbus.Timeout) },
		func(*Tally) string {
			return "Nothing answers at all: wrong unit number, wrong baud rate or parity, A and B swapped, or the device has no power. " +
				"Swapping A and B harms nothing; try it after the other settings (probe tries those with --baud and --parity)."
		},
	},
	{
		func(t *Tally) bool { return !t.Serial && t.Answers == 0 && t.only(modbus.Timeout) },
		func(*Tally) string {
			return "The connection is made, but no request is answered: wrong unit number (try 1, 0 and 255), or a gateway whose serial side is not wired or set."
		},
	},
	{
		func(t *Tally) bool { return t.Answers == 0 && t.Faults[modbus.Disconnected] > 0 },
		func(t *Tally) string {
			if t.Serial {
				return "The port cannot be opened: it is not there, or this user may not use it (the group that owns it is dialout on most systems)."
			}
			return "No connection: wrong address or port (502 is usual), a firewall, or a device that allows one connection and has it already."
		},
	},
	{
		func(t *Tally) bool { return t.broken() > 0 && t.Answers == 0 },
		func(*Tally) string {
			return "Bytes come, but no whole frame: the baud rate or the parity is wrong, or two devices have the same unit number and speak at once."
		},
	},
	{
		func(t *Tally) bool { return t.broken() > 0 && t.Answers > 0 && t.Longest >= 3 },
		func(*Tally) string {
			return "Checksum and framing faults come in bursts: look at the termination (120 Ω at both ends, nowhere else), the bias, the shield (earthed at one end) and at what is switched nearby when they come; keep the line away from the motor cable."
		},
	},
	{
		func(t *Tally) bool { return t.broken() > 0 && t.Answers > 0 && t.Longest < 3 },
		func(*Tally) string {
			return "Now and then a frame is broken: noise, a missing bias, or a second master on the line. Two masters make every value doubtful: there must be one."
		},
	},
	{
		func(t *Tally) bool { return t.Answers > 0 && t.Faults[modbus.Timeout] > 0 && t.Late == 0 },
		func(*Tally) string {
			return "It answers, but not always: a loose terminal, a device that is busy, or too long a line for its baud rate."
		},
	},
	{
		func(t *Tally) bool { return t.Refusals[modbus.IllegalFunction] > 0 },
		func(*Tally) string {
			return "The device refuses this table (exception 1): try holding where you read input, or input where you read holding."
		},
	},
	{
		func(t *Tally) bool { return t.Refusals[modbus.IllegalAddress] > 0 },
		func(*Tally) string {
			return "The device has no such address (exception 2): the address may be one off, in another table, or the range may span registers that do not exist; read fewer at once."
		},
	},
	{
		func(t *Tally) bool { return t.Refusals[modbus.IllegalValue] > 0 },
		func(*Tally) string {
			return "The device refuses that many registers at once (exception 3): read fewer."
		},
	},
	{
		func(t *Tally) bool { return t.Refusals[modbus.GatewayPath]+t.Refusals[modbus.GatewayTargetSilent] > 0 },
		func(*Tally) string {
			return "The gateway answers for a device that does not (exception 10 or 11): wrong unit number, or the serial side of the gateway is not wired or set right."
		},
	},
	{
		func(t *Tally) bool { return t.Refusals[modbus.DeviceBusy]+t.Refusals[modbus.Acknowledge] > 0 },
		func(*Tally) string { return "The device is busy (exception 5 or 6): poll it less often." },
	},
}

// Words says in plain words what the faults of t mean; nothing when all is
// well.
func (t *Tally) Words() []string {
	if t.Reads == 0 {
		return nil
	}
	var list []string
	for _, p := range patterns {
		if p.holds(t) {
			list = append(list, p.words(t))
		}
	}
	return list
}

// only reports whether all faults but pauses have that reason.
func (t *Tally) only(r modbus.Reason) bool {
	return t.Faults[r] > 0 && t.Faults[r]+t.Faults[modbus.BackingOff]+t.Faults[modbus.Settling] == t.Failed()
}

func (t *Tally) broken() int { return t.Faults[modbus.Checksum] + t.Faults[modbus.Framing] }

func twice(d time.Duration) time.Duration {
	return (2*d + 10*time.Millisecond - 1).Truncate(10 * time.Millisecond)
}

func round(d time.Duration) time.Duration { return d.Round(time.Millisecond) }
