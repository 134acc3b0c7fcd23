package regmap

import (
	"fmt"
	"strconv"
)

// docTables is the first digit that documents give each table.
var docTables = map[byte]Table{'0': Coil, '1': Discrete, '3': Input, '4': Holding}

// ParseDocAddress turns a register number as documents print it into the table
// and the zero-based address on the wire. The first digit names the table (0
// coil, 1 discrete, 3 input, 4 holding), four or five more digits the register:
// 40108 and 400108 are the same one.
//
// base is the number of the document's first register: 1 where 40001 is address
// 0 (usual), 0 where 40000 is. Leading zeros count: coil 00017 is not 17.
func ParseDocAddress(text string, base int) (Table, uint16, error) {
	if base != 0 && base != 1 {
		return NoTable, 0, fmt.Errorf("base %d is neither 0 nor 1: write 1 when the document's first holding register is 40001, 0 when it is 40000", base)
	}
	if _, err := strconv.ParseUint(text, 10, 64); err != nil {
		return NoTable, 0, fmt.Errorf("%q is no register number; write one as documents print it, such as 40108", text)
	}
	if len(text) != 5 && len(text) != 6 {
		return NoTable, 0, fmt.Errorf("%q has %d digits, but a document's number has 5 (40108) or 6 (400108); if it is the address on the wire, write it as address, with a table", text, len(text))
	}
	table, known := docTables[text[0]]
	if !known {
		return NoTable, 0, fmt.Errorf("%q begins with %c; documents begin with 0 for a coil, 1 for a discrete input, 3 for an input register, 4 for a holding register", text, text[0])
	}
	n, _ := strconv.Atoi(text[1:])
	address := n - base
	switch {
	case address < 0:
		return NoTable, 0, fmt.Errorf("%q is before the first %v register, which with base 1 ends in 1; if the document counts from %q, write base 0", text, table, text)
	case address >= addresses:
		return NoTable, 0, fmt.Errorf("%q is past the last %v register, %c%05d with base %d", text, table, text[0], addresses-1+base, base)
	}
	return table, uint16(address), nil
}

// LooksLikeDoc reports whether an address on the wire is more likely a number
// copied from a document, such as 40108 in table holding. A few devices really
// use such addresses, so it is for a question, not a verdict.
func LooksLikeDoc(table Table, address uint16) bool {
	switch table {
	case Discrete:
		return 10001 <= address && address <= 19999
	case Input:
		return 30001 <= address && address <= 39999
	case Holding:
		return 40001 <= address && address <= 49999
	}
	return false
}
