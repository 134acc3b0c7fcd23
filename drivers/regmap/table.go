package regmap

import "fmt"

// A Table is one of the four address spaces of a Modbus device. Its number is
// the function code that reads it.
type Table uint8

// The tables. The zero Table is none.
const (
	NoTable  Table = 0
	Coil     Table = 1 // one bit each
	Discrete Table = 2 // one bit each
	Holding  Table = 3 // 16 bits each
	Input    Table = 4 // 16 bits each
)

var tables = words[Table]{Coil: "coil", Discrete: "discrete", Holding: "holding", Input: "input"}

// String gives the word the configuration uses.
func (t Table) String() string { return tables.text(t) }

// HasBits reports whether an address of t is one bit instead of a register.
func (t Table) HasBits() bool { return t == Coil || t == Discrete }

// ParseTable reads what String writes.
func ParseTable(text string) (Table, error) { return tables.parse("table", text) }

// A ReadClass says how often a point is wanted; the beats are the bus's.
type ReadClass uint8

// The classes. The zero ReadClass is Routine.
const (
	Routine ReadClass = iota // every beat
	Slow                     // what changes in minutes: temperatures, hour meters
	Fast                     // routine, and as fast as the bus allows in a fast window
)

var readClasses = words[ReadClass]{Routine: "routine", Slow: "slow", Fast: "fast"}

// String gives the word the configuration uses.
func (c ReadClass) String() string { return readClasses.text(c) }

// ParseReadClass reads what String writes.
func ParseReadClass(text string) (ReadClass, error) { return readClasses.parse("read class", text) }

// A Span is neighbouring addresses of one table: First to First + Count - 1.
type Span struct {
	Table Table
	First uint16 // zero-based, as on the wire
	Count uint16 // registers, or bits in the tables that have bits
}

// String writes s for people, such as "holding 100..103".
func (s Span) String() string {
	if s.Count == 1 {
		return fmt.Sprintf("%v %d", s.Table, s.First)
	}
	return fmt.Sprintf("%v %d..%d", s.Table, s.First, s.end()-1)
}

// Contains reports whether all of o is in s.
func (s Span) Contains(o Span) bool {
	return s.Table == o.Table && s.First <= o.First && o.end() <= s.end()
}

func (s Span) overlaps(o Span) bool {
	return s.Table == o.Table && int(s.First) < o.end() && int(o.First) < s.end()
}

// end is one past the last address; 65536 does not fit an address.
func (s Span) end() int { return int(s.First) + int(s.Count) }

// An Answer is what a device answered to one read: the content of First and of
// the addresses after it, as Words or, in a table that has bits, as Bits.
type Answer struct {
	Table Table
	First uint16
	Words []uint16
	Bits  []bool
}

// cut gives the words of s, or nil when a does not hold all of them. A bit
// becomes the word 0 or 1, in scratch.
func (a Answer) cut(s Span, scratch *[1]uint16) []uint16 {
	from := int(s.First) - int(a.First)
	to := from + int(s.Count)
	switch {
	case s.Table != a.Table || from < 0:
		return nil
	case a.Table.HasBits() && to <= len(a.Bits):
		scratch[0] = uint16(fromBool(a.Bits[from]))
		return scratch[:]
	case !a.Table.HasBits() && to <= len(a.Words):
		return a.Words[from:to]
	}
	return nil
}
