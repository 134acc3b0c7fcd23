package regmap

// A Type says how registers encode a value. [Bit], [RunBit] and
// [RunBitFault] make those that name bits. The zero Type is none.
//
// The low byte is the encoding; the second byte is a bit number, the third one
// more than a fault bit's number.
type Type uint32

// The types that name no bit.
const (
	NoType           Type = iota
	Bool                  // a bit of its own; in a register anything but 0 is 1
	Int16                 // two's complement
	Uint16                //
	Int32                 //
	Uint32                //
	Int64                 // from 2^53 on the nearest float64
	Uint64                // from 2^53 on the nearest float64
	Float32               // IEEE 754 single
	Float64               // IEEE 754 double
	BCD16                 // 4 decimal digits
	BCD32                 // 8 decimal digits
	Status402             // status word of IEC 61800-7-201 (CiA 402)
	StatusPROFIdrive      // status word 1 of IEC 61800-7-203
	bit                   // one bit of a register
	runBit                // one bit that says running, perhaps one that says fault
)

// Bit is the type of bit n of a register; bit 0 is worth 1, bit 15 is worth 32768.
func Bit(n uint8) Type { return bit | Type(n)<<8 }

// RunBit is the type of a drive status of which bit n says running.
func RunBit(n uint8) Type { return runBit | Type(n)<<8 }

// RunBitFault is a [RunBit] of which another bit says fault.
func RunBitFault(n, fault uint8) Type { return RunBit(n) | Type(fault+1)<<16 }

// A kind is what a type's number means.
type kind uint8

const (
	noKind kind = iota
	number      // a number with a unit
	yesNo       // 0 or 1
	status      // a drivers.DriveState
)

// encodings says of each encoding its word, its registers, its kind and, for
// whole numbers, the least and greatest raw number.
var encodings = [...]struct {
	word      string
	registers uint8
	kind      kind
	low, high float64
}{
	NoType:           {"", 0, noKind, 0, 0},
	Bool:             {"bool", 1, yesNo, 0, 1},
	Int16:            {"int16", 1, number, -1 << 15, 1<<15 - 1},
	Uint16:           {"uint16", 1, number, 0, 1<<16 - 1},
	Int32:            {"int32", 2, number, -1 << 31, 1<<31 - 1},
	Uint32:           {"uint32", 2, number, 0, 1<<32 - 1},
	Int64:            {"int64", 4, number, -1 << 63, 1<<63 - 1},
	Uint64:           {"uint64", 4, number, 0, 1<<64 - 1},
	Float32:          {"float32", 2, number, 0, 0},
	Float64:          {"float64", 4, number, 0, 0},
	BCD16:            {"bcd16", 1, number, 0, 9999},
	BCD32:            {"bcd32", 2, number, 0, 99999999},
	Status402:        {"status_402", 1, status, 0, 0},
	StatusPROFIdrive: {"status_profidrive", 1, status, 0, 0},
	bit:              {"bit", 1, yesNo, 0, 1},
	runBit:           {"run_bit", 1, status, 0, 0},
}

// encoding is the low byte of t, or NoType.
func (t Type) encoding() Type {
	if e := t & 0xFF; int(e) < len(encodings) {
		return e
	}
	return NoType
}

func (t Type) kind() kind    { return encodings[t.encoding()].kind }
func (t Type) bit() uint8    { return uint8(t >> 8) }
func (t Type) isFloat() bool { return t == Float32 || t == Float64 }

// picksBits reports whether t looks at some bits of a register, so that
// another row may look at others.
func (t Type) picksBits() bool { return t.encoding() == bit || t.kind() == status }

// faultBit gives the number of the bit that says fault.
func (t Type) faultBit() (n uint8, has bool) { return uint8(t>>16) - 1, t>>16 != 0 }

// Registers gives how many registers a value takes: 1, 2 or 4; 0 for no type.
func (t Type) Registers() int { return int(encodings[t.encoding()].registers) }
