package configs

import (
	"math"
	"strings"

	"pumpside/drivers"
	"pumpside/drivers/quantity"
	"pumpside/drivers/regmap"
)

// The kinds of number a point can be, by its type.
type pointKind uint8

const (
	measured pointKind = iota // a number, perhaps with a unit
	yesNo                     // 0 or 1
	status                    // a drive's status word
)

// kindOf tells a type's kind by its encoding, which is the low byte; bit
// numbers stand above it.
func kindOf(t regmap.Type) pointKind {
	switch t & 0xFF {
	case regmap.Bool, regmap.Bit(0) & 0xFF:
		return yesNo
	case regmap.Status402, regmap.StatusPROFIdrive, regmap.RunBit(0) & 0xFF:
		return status
	}
	return measured
}

// fits reports whether a point can play a role, and tells why not.
func (p *pumpLoader) fits(here *place, s drivers.Signal, ref pointRef, text string) bool {
	row := &p.config.Devices[ref.device].Map.Points[ref.point]
	info, kind := s.Info(), kindOf(row.Type)
	before := p.told
	switch {
	case s == drivers.DriveStatus && kind != status:
		p.wrong(here, "drive_status is the state of a drive, but point %s is %v; use type status_402, status_profidrive or run_bit N", text, row.Type)
	case s == drivers.DriveStatus:
	case info.Kind == drivers.Switch && kind != yesNo:
		p.wrong(here, "%v is a switch, but point %s is %v; use type bool or bit N", s, text, row.Type)
	case info.Kind == drivers.Switch:
	case kind != measured:
		p.wrong(here, "%v is %s, but point %s is %v; use a type that is a number", s, whatIs(info), text, row.Type)
	case info.Dimension == row.Unit.Dimension:
	case row.Unit.Dimension == quantity.None:
		p.wrong(here, "%v is a %v, but point %s has no unit; give it one of %s", s, info.Dimension, text, strings.Join(quantity.Symbols(info.Dimension), ", "))
	default:
		p.wrong(here, "%v is %s, but point %s is in %s", s, whatIs(info), text, row.Unit.Symbol)
	}
	if s == drivers.ShaftIndex && (row.Scale != 1 || row.Offset != 0) {
		p.wrong(here, "shaft_index counts pulses, but point %s has a scale; leave it out and say pulses_per_revolution", text)
	}
	return p.told == before
}

func whatIs(info drivers.SignalInfo) string {
	switch {
	case info.Kind == drivers.Count:
		return "a plain count"
	case info.Dimension == quantity.None:
		return "a state"
	}
	return "a " + info.Dimension.String()
}

// widthOf is the width of a point's measuring range, 0 when nobody said it.
func widthOf(row *regmap.Point) float64 {
	low, high, _ := believable(row)
	return math.Abs(high - low)
}

// believable is what a point can show without being bad.
func believable(row *regmap.Point) (low, high float64, known bool) {
	switch {
	case row.Valid.Given():
		return row.Valid.Low, row.Valid.High, true
	case row.Loop.Given():
		return min(row.Loop.Low, row.Loop.High), max(row.Loop.Low, row.Loop.High), true
	}
	return 0, 0, false
}
