package regmap

import "fmt"

// A Table is one of the four address spaces of a Modbus device.
type Table uint8

// The tables, by the name the protocol gives them. The zero Table is none.
const (
	NoTable  Table = iota
	Coil           // one bit each, read by function 1
	Discrete       // one bit each, read by function 2
	Input          // 16 bits each, read by function 4
	Holding        // 16 bits each, read by function 3
)

var tables = words[Table]{Coil: "coil", Discrete: "discrete", Input: "input", Holding: "holding"}

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

// An Answer is what a device answered to one read: Words[i] is the content of
// address First + i. In a table of bits each word is 0 or 1.
type Answer struct {
	Table Table
	First uint16
	Words []uint16
}

// cut gives the words of s, or nil when a does not hold all of them.
func (a Answer) cut(s Span) []uint16 {
	from := int(s.First) - int(a.First)
	to := from + int(s.Count)
	if s.Table != a.Table || from < 0 || to > len(a.Words) {
		return nil
	}
	return a.Words[from:to]
}
