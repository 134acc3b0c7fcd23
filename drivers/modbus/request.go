package modbus

import (
	"fmt"
	"time"
)

// A Table is one of the four address spaces of a device. Each starts at zero.
type Table uint8

// The tables; the number is the function code that reads it.
const (
	Coils            Table = 1
	DiscreteInputs   Table = 2
	HoldingRegisters Table = 3
	InputRegisters   Table = 4
)

var tableNames = [...]string{
	Coils: "coils", DiscreteInputs: "discrete inputs",
	HoldingRegisters: "holding registers", InputRegisters: "input registers",
}

func (t Table) String() string {
	if t < Coils || t > InputRegisters {
		return fmt.Sprintf("table %d", uint8(t))
	}
	return tableNames[t]
}

// Bits reports whether the table holds single bits, not 16-bit words.
func (t Table) Bits() bool { return t == Coils || t == DiscreteInputs }

// Most returns how many items one request can ask for: 2000 bits or 125
// registers (MODBUS Application Protocol V1.1b3, §6.1 to §6.4).
func (t Table) Most() int {
	if t.Bits() {
		return 2000
	}
	return 125
}

// dataBytes returns how many bytes n items take in an answer.
func (t Table) dataBytes(n int) int {
	if t.Bits() {
		return (n + 7) / 8
	}
	return 2 * n
}

// A Request asks one unit for consecutive items of one table.
type Request struct {
	Unit    byte // 1..247 on a serial line, 0..255 on TCP
	Table   Table
	First   uint16        // zero-based address on the wire
	Count   uint16        // 1..Table.Most()
	Timeout time.Duration // of the whole transaction, dial included; zero means the bus's
}

func (r Request) check(k Kind) error {
	switch {
	case r.Table < Coils || r.Table > InputRegisters:
		return fmt.Errorf("%v cannot be read; want 1 to 4", r.Table)
	case r.Count < 1 || int(r.Count) > r.Table.Most():
		return fmt.Errorf("%d %v; want 1 to %d", r.Count, r.Table, r.Table.Most())
	case int(r.First)+int(r.Count) > 1<<16:
		return fmt.Errorf("last address is above 65535")
	}
	return checkUnit(r.Unit, k)
}

func checkUnit(unit byte, k Kind) error {
	if k != TCP && (unit < 1 || unit > 247) {
		return fmt.Errorf("unit %d on a serial line; want 1 to 247", unit)
	}
	return nil
}

// An Answer has what a device returned for one Request.
type Answer struct {
	Words []uint16 // one per register; nil for bits. The caller's to keep
	Bits  []bool   // one per coil or discrete input; nil for words. The caller's to keep

	// Requested is when the last byte of the request had left, FirstByte when
	// the first byte of the answer was seen; both carry Go's monotonic clock.
	// The device read its registers in between.
	Requested, FirstByte time.Time
}

// At returns the instant the values belong to, the middle between request and
// answer, and how far to either side the truth may lie.
func (a *Answer) At() (at time.Time, halfWidth time.Duration) {
	halfWidth = a.FirstByte.Sub(a.Requested) / 2
	return a.Requested.Add(halfWidth), halfWidth
}

// decode turns the data bytes of an answer into words or bits.
func (a *Answer) decode(r Request, data []byte) {
	if !r.Table.Bits() {
		a.Words = make([]uint16, r.Count)
		for i := range a.Words {
			a.Words[i] = uint16(data[2*i])<<8 | uint16(data[2*i+1])
		}
		return
	}
	a.Bits = make([]bool, r.Count)
	for i := range a.Bits {
		a.Bits[i] = data[i/8]>>(i%8)&1 == 1 // the lowest bit comes first
	}
}
