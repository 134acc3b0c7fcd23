package regmap

import (
	"time"

	"pumpside/drivers/quantity"
)

// A Map says what the registers of one device mean. What [Map.Problems] finds
// nothing wrong with is used as it is and never changed.
type Map struct {
	Points     []Point
	Unreadable []Span // what the device refuses to read: no plan may bridge it
}

// Index finds a point by its name.
func (m Map) Index(name string) (int, bool) {
	for i := range m.Points {
		if m.Points[i].Name == name {
			return i, true
		}
	}
	return 0, false
}

// A Point is one row of a Map: one value of a device.
type Point struct {
	Name    string
	Table   Table
	Address uint16 // zero-based, as on the wire; of the first register
	Type    Type
	Order   WordOrder // needed for 2 and 4 registers

	// number = raw·Scale + Offset, in Unit; for a 4–20 mA loop in mA. Scale 1
	// and Offset 0 leave raw as it is; Scale 0 is a mistake. A switch may have
	// Scale -1 and Offset 1: 1 while its contact is open.
	Scale  float64
	Offset float64
	Unit   quantity.Unit // the zero Unit is a plain number

	Loop         Range         // the values at 4 and 20 mA, in base units; zero: not a loop
	Valid        Range         // values outside are bad, in base units; zero: any number
	NotAvailable []uint64      // raw bits that mean "no value", joined in Order
	Class        ReadClass     // how often it is wanted
	FrozenAfter  time.Duration // bit-identical for longer is frozen; 0: see [Point.FreezesAfter]; negative: never
	UpdatePeriod time.Duration // how often the device has a new sample; 0: at every poll, or not known
	Path         Path          // of a pressure
}

// A Range is two ends in the base unit. The zero Range is not given.
type Range struct{ Low, High float64 }

// Given reports whether r says anything.
func (r Range) Given() bool { return r != Range{} }

// contains is false for a NaN.
func (r Range) contains(x float64) bool { return r.Low <= x && x <= r.High }

// A Path is what stands between a pressure in the pipe and its register: what
// decides how much of a ripple can be seen.
type Path struct {
	Damping      time.Duration // time constant of the transmitter's filter
	DampingKnown bool          // false: nobody looked, so assume that ripple is hidden
	Snubber      time.Duration // time constant of a snubber or throttled valve; 0: none
	Resolution   float64       // one count of the device, in Pa; 0: not known
	SharedWith   []string      // pumps on the same header: their ripple is in it too
}

// Span gives the registers, or the bit, that p is read from.
func (p *Point) Span() Span {
	return Span{Table: p.Table, First: p.Address, Count: uint16(p.Type.Registers())}
}

// RollsOver gives the size of a counter in the base unit: 65536 raw counts of a
// uint16, 10000 of a bcd16. ok is false for what cannot roll over: floats,
// switches, states, loops.
func (p *Point) RollsOver() (size float64, ok bool) {
	e := encodings[p.Type.encoding()]
	if e.kind != number || p.Type.isFloat() || p.Loop.Given() {
		return 0, false
	}
	return (e.high - e.low + 1) * p.Scale * p.unitScale(), true
}

func (p *Point) toBase(x float64) float64 {
	if p.Unit.Dimension == quantity.None {
		return x
	}
	return p.Unit.ToBase(x)
}

func (p *Point) unitScale() float64 {
	if p.Unit.Dimension == quantity.None {
		return 1
	}
	return p.Unit.Scale
}
