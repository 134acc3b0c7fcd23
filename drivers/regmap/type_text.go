package regmap

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// String gives the text [ParseType] reads, such as "uint32" or "bit 3".
func (t Type) String() string {
	text := encodings[t.encoding()].word
	switch t.encoding() {
	case NoType:
		return "unknown"
	case bit, runBit:
		text += " " + strconv.Itoa(int(t.bit()))
	}
	if fault, has := t.faultBit(); has {
		text += " fault " + strconv.Itoa(int(fault))
	}
	return text
}

// ParseType reads a type: one of the plain words, "bit 3", "run_bit 2" or
// "run_bit 2 fault 7" with bits 0 to 15.
func ParseType(text string) (Type, error) {
	word, bits, _ := strings.Cut(strings.TrimSpace(text), " ")
	switch word {
	case "bit":
		return parseBit(text, bits)
	case "run_bit":
		return parseRunBit(text, bits)
	}
	for t := Bool; t < bit; t++ {
		if encodings[t].word == text {
			return t, nil
		}
	}
	return NoType, unknownWord("type", text, typeWords())
}

func typeWords() []string {
	var list []string
	for t := Bool; t < bit; t++ {
		list = append(list, encodings[t].word)
	}
	return append(list, "bit 3", "run_bit 2", "run_bit 2 fault 7")
}

func parseBit(text, bits string) (Type, error) {
	n, ok := bitNumber(bits)
	if !ok {
		return NoType, fmt.Errorf("%q is no type; write the bit's number from 0 to 15, such as %q", text, "bit 3")
	}
	return Bit(n), nil
}

func parseRunBit(text, bits string) (Type, error) {
	bad := fmt.Errorf("%q is no type; write %q or %q with bits from 0 to 15", text, "run_bit 2", "run_bit 2 fault 7")
	run, fault, hasFault := strings.Cut(bits, "fault")
	n, ok := bitNumber(run)
	if !ok {
		return NoType, bad
	}
	if !hasFault {
		return RunBit(n), nil
	}
	f, ok := bitNumber(fault)
	if !ok || f == n {
		return NoType, bad
	}
	return RunBitFault(n, f), nil
}

func bitNumber(text string) (uint8, bool) {
	n, err := strconv.ParseUint(strings.TrimSpace(text), 10, 8)
	return uint8(n), err == nil && n <= 15
}

// ParsePattern reads a not-available pattern of a type: hexadecimal ("0x8000")
// for the raw bits in the value's own word order, or the decimal number the
// bits mean before scale and offset ("-32768", "9999", "-9999.0" for a float).
func ParsePattern(text string, t Type) (uint64, error) {
	width := 16 * t.Registers()
	if digits, isHex := strings.CutPrefix(strings.ToLower(text), "0x"); isHex {
		raw, err := strconv.ParseUint(digits, 16, 64)
		if err != nil || raw&^mask(width) != 0 {
			return 0, fmt.Errorf("%q is not a pattern of %d bits, the size of %v; write up to %d hexadecimal digits", text, width, t, width/4)
		}
		return raw, nil
	}
	raw, ok := decimalPattern(text, t)
	if !ok {
		return 0, fmt.Errorf("%q is not a number %v can hold; write one, or the raw bits such as %q", text, t, "0x8000")
	}
	return raw, nil
}

func decimalPattern(text string, t Type) (raw uint64, ok bool) {
	width := 16 * t.Registers()
	var err error
	switch t {
	case Float32:
		var x float64
		x, err = strconv.ParseFloat(text, 32)
		raw = uint64(math.Float32bits(float32(x)))
	case Float64:
		var x float64
		x, err = strconv.ParseFloat(text, 64)
		raw = math.Float64bits(x)
	case BCD16, BCD32:
		raw, err = strconv.ParseUint(text, 16, width)
		ok = isDecimal(raw)
		return raw, ok && err == nil
	case Int16, Int32, Int64:
		var n int64
		n, err = strconv.ParseInt(text, 10, width)
		raw = uint64(n) & mask(width)
	default:
		raw, err = strconv.ParseUint(text, 10, width)
	}
	return raw, err == nil
}

// mask has the lowest width bits set.
func mask(width int) uint64 { return 1<<width - 1 }
