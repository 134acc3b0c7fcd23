package regmap

import (
	"math"
	"slices"
	"time"

	"pumpside/drivers"
	"pumpside/drivers/drive"
)

// A Value is one point as decoded. It holds nothing of the answer it came from.
type Value struct {
	Point    int     // index in Map.Points; set by a Decoder
	Number   float64 // base unit; NaN when the device gave no number
	Quality  drivers.Quality
	Reason   drivers.Reason
	Raw      [4]uint16 // as on the wire
	RawWords uint8     // how many of Raw were read; 0: none
}

// noNumber is the Number of a value without one: never 0.
var noNumber = math.NaN()

// Reading gives v as a reading of a signal.
func (v Value) Reading(s drivers.Signal) drivers.Reading {
	return drivers.Reading{Signal: s, Value: v.Number, Quality: v.Quality, Reason: v.Reason}
}

// Decode turns the registers of p, as they came over the wire, into a value.
// Quality that needs time is left out: a failed loop is bad at once, and
// nothing is frozen or repeated. Words of the wrong number are garbled.
//
// A not-available pattern, a NaN and a BCD digit above 9 give no number. A
// status word that its standard does not define is out of range.
func (p *Point) Decode(registers []uint16) Value { return p.decode(registers, nil, 0) }

// decode is Decode at the time since boot now with the memory of a loop; nil
// has none.
func (p *Point) decode(registers []uint16, loop *loop, now time.Duration) Value {
	if n := p.Type.Registers(); n == 0 || n != len(registers) {
		return failed(0, drivers.Garbled)
	}
	v := failed(0, drivers.NotAvailable)
	v.RawWords = uint8(len(registers))
	copy(v.Raw[:], registers)
	raw := p.Order.join(registers)
	if slices.Contains(p.NotAvailable, raw) {
		return v
	}
	if p.Type.kind() == status {
		return p.judge(v, float64(p.Type.status(uint16(raw)).State))
	}
	x := p.Type.number(raw)
	if math.IsNaN(x) {
		return v
	}
	x = x*p.Scale + p.Offset
	if p.Loop.Given() {
		return p.judgeLoop(v, loop, now, x)
	}
	return p.judge(v, p.toBase(x))
}

// judge gives v its number, good unless it is outside what is valid.
func (p *Point) judge(v Value, x float64) Value {
	v.Quality, v.Reason = drivers.Bad, drivers.OutOfRange
	if math.IsInf(x, 0) || math.IsNaN(x) {
		return v // scaled past the largest float64
	}
	v.Number = x
	if p.accepts(x) {
		v.Quality, v.Reason = drivers.Good, drivers.ReasonNone
	}
	return v
}

func (p *Point) accepts(x float64) bool {
	if p.Type.kind() == status {
		return x != float64(drivers.DriveUnknown)
	}
	return !p.Valid.Given() || p.Valid.contains(x)
}

// DriveStatus gives what the status word of a drive says precisely. ok is
// false when p is no status word or v was not read.
func (p *Point) DriveStatus(v Value) (s drive.Status, ok bool) {
	if p.Type.kind() != status || v.RawWords != 1 {
		return drive.Status{}, false
	}
	return p.Type.status(uint16(p.Order.join(v.Raw[:1]))), true
}

// failed is the value of a point that got no answer.
func failed(point int, reason drivers.Reason) Value {
	return Value{Point: point, Number: noNumber, Quality: drivers.Bad, Reason: reason}
}
