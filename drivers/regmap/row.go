package regmap

import (
	"fmt"
	"math"

	"pumpside/drivers/quantity"
)

// addresses is how many addresses a table has.
const addresses = 1 << 16

// rowChecks are in the order of the fields. Those after the first assume a
// known table and type.
var rowChecks = []func(*Point, *Problems){
	(*Point).checkType,
	(*Point).checkAddress,
	(*Point).checkOrder,
	(*Point).checkScale,
	(*Point).checkUnit,
	(*Point).checkLoop,
	(*Point).checkValid,
	(*Point).checkNotAvailable,
	(*Point).checkTimes,
	(*Point).checkPath,
}

// Problems gives all that is wrong with the row by itself. Empty means that it
// can be decoded.
func (p *Point) Problems() Problems {
	var found Problems
	if p.Name == "" {
		found.add("name", "missing; give the point a name of its own")
	}
	if p.Table == NoTable || p.Table > Input {
		found.add("table", "missing; use one of coil, discrete, holding, input")
	}
	if p.Type.encoding() == NoType {
		found.add("type", "missing; say how the registers encode the value, such as uint16")
	}
	if len(found) > 0 {
		return found
	}
	for _, check := range rowChecks {
		check(p, &found)
	}
	return found
}

func (p *Point) checkType(found *Problems) {
	fault, hasFault := p.Type.faultBit()
	switch {
	case p.Table.HasBits() && p.Type != Bool:
		found.add("type", "%v needs a register, but an address of table %v is one bit; use bool", p.Type, p.Table)
	case p.Type.bit() > 15 || hasFault && fault > 15:
		found.add("type", "a register has bits 0 to 15")
	}
}

func (p *Point) checkAddress(found *Problems) {
	if p.Span().end() > addresses {
		found.add("address", "%v at %d goes past the last address, 65535", p.Type, p.Address)
	}
}

func (p *Point) checkOrder(found *Problems) {
	switch n := p.Type.Registers(); {
	case p.Order > DCBA:
		found.add("word_order", "not known; use one of ABCD, CDAB, BADC, DCBA")
	case n > 1 && p.Order == NoOrder:
		found.add("word_order", "missing; %v takes %d registers and no order is usual: say ABCD, CDAB, BADC or DCBA", p.Type, n)
	case p.Table.HasBits() && p.Order != NoOrder:
		found.add("word_order", "a single bit has no order; leave it out")
	case n == 1 && p.Order != NoOrder && p.Order != BADC:
		found.add("word_order", "%v takes one register, which has no word order; leave it out, or write BADC if the device swaps its two bytes", p.Type)
	}
}

func (p *Point) checkScale(found *Problems) {
	switch kind := p.Type.kind(); {
	case !finite(p.Scale):
		found.add("scale", "%v is not a finite number", p.Scale)
	case !finite(p.Offset):
		found.add("offset", "%v is not a finite number", p.Offset)
	case p.Scale == 0:
		found.add("scale", "is 0, so every value would be the same; write 1 for no scaling")
	case p.Scale == 1 && p.Offset == 0:
	case kind == status:
		found.add("scale", "a status word is not scaled; leave scale and offset out")
	case kind == yesNo && !(p.Scale == -1 && p.Offset == 1):
		found.add("scale", "a switch is 0 or 1; only scale -1 with offset 1 makes sense, which turns it round")
	}
}

func (p *Point) checkUnit(found *Problems) {
	switch u := p.Unit; {
	case u == quantity.Unit{}:
	case p.Type.kind() != number:
		found.add("unit", "%v has no unit; leave it out", p.Type)
	case u.Dimension > quantity.Mass || !finite(u.Scale) || !finite(u.Offset) || u.Scale == 0:
		found.add("unit", "%q does not convert to a base unit", u.Symbol)
	}
}

func (p *Point) checkLoop(found *Problems) {
	const lastDigit = 0.1 // mA; 65535·(16/65535) may be just under 16
	low, high, bounded := p.scaledEnds()
	switch {
	case !p.Loop.Given():
	case p.Type.kind() != number:
		found.add("loop", "%v is no current; leave it out", p.Type)
	case !finite(p.Loop.Low) || !finite(p.Loop.High) || p.Loop.Low == p.Loop.High:
		found.add("loop", "give two different values, those at 4 mA and at 20 mA")
	case bounded && (high < 20-lastDigit || low > 4+lastDigit):
		found.add("scale", "raw·scale + offset must be the current in mA, but %v goes from %.6g to %.6g here", p.Type, low, high)
	}
}

func (p *Point) checkValid(found *Problems) {
	r := p.Valid
	switch {
	case !r.Given():
		return
	case p.Type.kind() != number:
		found.add("valid", "%v has no range; leave it out", p.Type)
		return
	case !finite(r.Low) || !finite(r.High) || r.Low >= r.High:
		found.add("valid", "give the lower end first and a higher one after it")
		return
	}
	low, high, bounded := p.ends()
	if bounded && (high < r.Low || low > r.High) {
		unit := p.Unit.Dimension.Base()
		found.add("valid", "no value can be in it: this row goes from %.6g to %.6g %s, the range from %.6g to %.6g; look at scale and unit",
			low, high, unit, r.Low, r.High)
	}
}

func (p *Point) checkNotAvailable(found *Problems) {
	width := 16 * p.Type.Registers()
	if p.Table.HasBits() && len(p.NotAvailable) > 0 {
		found.add("not_available", "a single bit has no room for a pattern; leave it out")
		return
	}
	for _, raw := range p.NotAvailable {
		if raw&^mask(width) != 0 {
			found.add("not_available", "0x%X does not fit the %d bits of %v", raw, width, p.Type)
		}
	}
}

func (p *Point) checkTimes(found *Problems) {
	if p.Class > Fast {
		found.add("class", "not known; use one of routine, slow, fast")
	}
	if p.UpdatePeriod < 0 {
		found.add("update_period", "%v is less than no time", p.UpdatePeriod)
	}
	if p.UpdatePeriod > 0 && p.Type.kind() != number {
		found.add("update_period", "%v is read as it is; leave it out", p.Type)
	}
}

func (p *Point) checkPath(found *Problems) {
	path := p.Path
	for _, key := range []struct {
		name       string
		given, bad bool
		text       string
	}{
		{"damping", path.DampingKnown || path.Damping != 0, path.Damping < 0, path.Damping.String() + " is less than no time"},
		{"snubber", path.Snubber != 0, path.Snubber < 0, path.Snubber.String() + " is less than no time"},
		{"resolution", path.Resolution != 0, !finite(path.Resolution) || path.Resolution < 0, fmt.Sprintf("%g Pa is no size of a count", path.Resolution)},
		{"shared_with", len(path.SharedWith) > 0, false, ""},
	} {
		switch {
		case key.given && p.Unit.Dimension != quantity.Pressure:
			found.add(key.name, "only a pressure has one; leave it out")
		case key.bad:
			found.add(key.name, "%s", key.text)
		}
	}
}

// scaledEnds gives what raw·scale + offset can reach, lower end first; bounded
// is false for floats.
func (p *Point) scaledEnds() (low, high float64, bounded bool) {
	e := encodings[p.Type.encoding()]
	a, b := e.low*p.Scale+p.Offset, e.high*p.Scale+p.Offset
	return min(a, b), max(a, b), !p.Type.isFloat()
}

// ends gives what the value can reach in base units, lower end first.
func (p *Point) ends() (low, high float64, bounded bool) {
	if p.Loop.Given() {
		a, b := p.Loop.at(measuring.Low), p.Loop.at(measuring.High)
		return min(a, b), max(a, b), true
	}
	low, high, bounded = p.scaledEnds()
	a, b := p.toBase(low), p.toBase(high)
	return min(a, b), max(a, b), bounded
}

func finite(x float64) bool { return !math.IsNaN(x) && !math.IsInf(x, 0) }
