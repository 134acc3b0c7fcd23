package probe

import (
	"cmp"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"pumpside/drivers/modbus"
	"pumpside/drivers/regmap"
)

// A Range is neighbouring addresses of one table that one request can ask for.
type Range struct {
	Table regmap.Table
	First uint16 // zero-based, as on the wire
	Count uint16 // 1 to 125 registers or 2000 bits
}

// String gives r as [ParseRange] reads it.
func (r Range) String() string {
	if r.Count == 1 {
		return fmt.Sprintf("%v %d", r.Table, r.First)
	}
	return fmt.Sprintf("%v %d-%d", r.Table, r.First, int(r.First)+int(r.Count)-1)
}

func (r Range) end() int { return int(r.First) + int(r.Count) }

// Merged gives ranges that hold the same addresses as list, each once: those
// that overlap or touch become one, where one request can ask for it. They
// come by table and address.
func Merged(list []Range) []Range {
	sorted := slices.Clone(list)
	slices.SortFunc(sorted, func(a, b Range) int {
		return cmp.Or(cmp.Compare(a.Table, b.Table), cmp.Compare(a.First, b.First))
	})
	var out []Range
	for _, r := range sorted {
		if len(out) > 0 {
			last := &out[len(out)-1]
			if r.Table == last.Table && int(r.First) <= last.end() {
				end := max(last.end(), r.end())
				if n := end - int(last.First); n <= modbus.Table(r.Table).Most() {
					last.Count = uint16(n)
					continue
				}
				r.First, r.Count = uint16(last.end()), uint16(end-last.end())
				if r.Count == 0 {
					continue
				}
			}
		}
		out = append(out, r)
	}
	return out
}

// Halves cuts r, of two or more, in its middle.
func (r Range) Halves() (first, second Range) {
	half := r.Count / 2
	return Range{r.Table, r.First, half}, Range{r.Table, r.First + half, r.Count - half}
}

// ParseRange reads "holding 0-20" or "input 8" with addresses as on the wire,
// or "40101-40120" as a manual numbers them; base is the number of the
// manual's first register, 0 or 1.
func ParseRange(text string, base int) (Range, error) {
	word, numbers, byTable := strings.Cut(strings.TrimSpace(text), " ")
	if !byTable {
		return parseManualRange(word, base)
	}
	table, err := regmap.ParseTable(word)
	if err != nil {
		return Range{}, err
	}
	from, to, _ := strings.Cut(strings.TrimSpace(numbers), "-")
	first, err := parseAddress(from)
	if err != nil {
		return Range{}, err
	}
	last := first
	if to != "" {
		if last, err = parseAddress(to); err != nil {
			return Range{}, err
		}
	}
	return newRange(table, first, last)
}

func parseManualRange(text string, base int) (Range, error) {
	from, to, _ := strings.Cut(text, "-")
	if to == "" {
		to = from
	}
	table, first, err := regmap.ParseDocAddress(from, base)
	if err != nil {
		return Range{}, fmt.Errorf("%w; with a table it is an address on the wire: %q", err, "holding 0-20")
	}
	other, last, err := regmap.ParseDocAddress(to, base)
	if err != nil {
		return Range{}, err
	}
	if other != table {
		return Range{}, fmt.Errorf("%q begins in table %v and ends in table %v", text, table, other)
	}
	return newRange(table, first, last)
}

func parseAddress(text string) (uint16, error) {
	n, err := strconv.ParseUint(strings.TrimSpace(text), 0, 16)
	if err != nil {
		return 0, fmt.Errorf("%q is no address; write 0 to 65535", text)
	}
	return uint16(n), nil
}

func newRange(table regmap.Table, first, last uint16) (Range, error) {
	most := modbus.Table(table).Most()
	n := int(last) - int(first) + 1
	if n < 1 || n > most {
		return Range{}, fmt.Errorf("%d to %d are %d addresses; one request has 1 to %d", first, last, n, most)
	}
	return Range{Table: table, First: first, Count: uint16(n)}, nil
}

// RangesAround gives the ranges in which expected values should stand by the
// manual, with two addresses to either side for what may be off.
func RangesAround(expected []Expectation) []Range {
	const slack = 2
	const widest = 4 // registers of one value
	var list []Range
	for _, e := range expected {
		if e.Table == regmap.NoTable {
			continue
		}
		first := max(0, int(e.Address)-slack)
		last := min(65535, int(e.Address)+slack+widest-1)
		r := Range{Table: e.Table, First: uint16(first), Count: uint16(last - first + 1)}
		if !slices.Contains(list, r) {
			list = append(list, r)
		}
	}
	return list
}

// ParseUnits reads unit numbers such as "1-10,17": 0 to 255, each once, in the
// order given.
func ParseUnits(text string) ([]byte, error) {
	var list []byte
	for part := range strings.SplitSeq(text, ",") {
		from, to, isRange := strings.Cut(strings.TrimSpace(part), "-")
		if !isRange {
			to = from
		}
		first, err1 := strconv.ParseUint(from, 10, 8)
		last, err2 := strconv.ParseUint(to, 10, 8)
		if err1 != nil || err2 != nil || first > last {
			return nil, fmt.Errorf("%q is no unit number or range of them; write 1 to 247 for a serial line, such as 1-10,17", part)
		}
		for n := first; n <= last; n++ {
			if !slices.Contains(list, byte(n)) {
				list = append(list, byte(n))
			}
		}
	}
	return list, nil
}

// ParseLines gives every line setting of some baud rates and parities, both
// separated by commas: the likeliest baud rate first with all its parities.
// Even and odd parity have 1 stop bit; none has 2, as the standard wants, and
// then 1, as many devices are set (MODBUS over Serial Line V1.02, §2.5.1).
func ParseLines(bauds, parities string) ([]modbus.Line, error) {
	var list []modbus.Line
	for b := range strings.SplitSeq(bauds, ",") {
		baud, err := strconv.Atoi(strings.TrimSpace(b))
		if err != nil || !slices.Contains(modbus.Bauds, baud) {
			return nil, fmt.Errorf("--baud: no serial port runs at %q baud; use some of %v", b, modbus.Bauds)
		}
		for word := range strings.SplitSeq(parities, ",") {
			switch strings.TrimSpace(word) {
			case "even":
				list = append(list, modbus.Line{Baud: baud, Parity: modbus.EvenParity, StopBits: 1})
			case "odd":
				list = append(list, modbus.Line{Baud: baud, Parity: modbus.OddParity, StopBits: 1})
			case "none":
				list = append(list, modbus.Line{Baud: baud, Parity: modbus.NoParity, StopBits: 2}, modbus.Line{Baud: baud, Parity: modbus.NoParity, StopBits: 1})
			default:
				return nil, fmt.Errorf("--parity: %q is none of even, none, odd", word)
			}
		}
	}
	return list, nil
}
