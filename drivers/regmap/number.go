package regmap

import (
	"math"

	"pumpside/drivers/drive"
)

// number reads raw as t says; NaN when it is none.
func (t Type) number(raw uint64) float64 {
	switch t.encoding() {
	case Bool:
		return fromBool(raw != 0)
	case bit:
		return fromBool(raw>>t.bit()&1 == 1)
	case Int16:
		return float64(int16(raw))
	case Int32:
		return float64(int32(raw))
	case Int64:
		return float64(int64(raw))
	case Uint16, Uint32, Uint64:
		return float64(raw)
	case Float32:
		return float64(math.Float32frombits(uint32(raw)))
	case Float64:
		return math.Float64frombits(raw)
	case BCD16, BCD32:
		return bcd(raw)
	}
	return noNumber
}

// status reads word as t says.
func (t Type) status(word uint16) drive.Status {
	switch t.encoding() {
	case Status402:
		return drive.CiA402(word)
	case StatusPROFIdrive:
		return drive.PROFIdrive(word)
	}
	fault, has := t.faultBit()
	return drive.RunBit{Run: t.bit(), Fault: fault, HasFault: has}.Status(word)
}

func fromBool(yes bool) float64 {
	if yes {
		return 1
	}
	return 0
}

// bcd reads four bits as one decimal digit, the highest first; NaN when a digit
// is above 9.
func bcd(raw uint64) float64 {
	if !isDecimal(raw) {
		return noNumber
	}
	var x, digit uint64 = 0, 1
	for ; raw != 0; raw >>= 4 {
		x += raw & 0xF * digit
		digit *= 10
	}
	return float64(x)
}

func isDecimal(raw uint64) bool {
	for ; raw != 0; raw >>= 4 {
		if raw&0xF > 9 {
			return false
		}
	}
	return true
}
