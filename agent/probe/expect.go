package probe

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"pumpside/drivers/quantity"
	"pumpside/drivers/regmap"
)

// An Expectation is a value somebody reads off a display while the bus is
// being read.
type Expectation struct {
	Name   string
	Value  float64       // in Unit
	Unit   quantity.Unit // the zero Unit: a plain number
	Within float64       // how far the register may be from Value, as a part of it

	// Where the manual says it stands; Table is NoTable when nothing was said.
	Table   regmap.Table
	Address uint16 // zero-based
}

// usualWithin is how far a display and a register may be apart: one rounds,
// the other is a second older.
const usualWithin = 0.02

// ParseExpectation reads NAME≈VALUE, such as "speed≈1780 rpm", where = and ~
// stand for ≈ too. NAME@REGISTER says where the manual has it, such as
// "speed@40103≈1780 rpm"; base is the number of the manual's first register, 0
// or 1. "±5 %" at the end widens the 2 % that count as the same.
func ParseExpectation(text string, base int) (Expectation, error) {
	at := strings.IndexAny(text, "≈=~")
	if at <= 0 {
		return Expectation{}, fmt.Errorf("%q says no value; write it such as %q", text, "speed≈1780 rpm")
	}
	e := Expectation{Name: strings.TrimSpace(text[:at]), Within: usualWithin}
	value := strings.TrimSpace(strings.TrimLeft(text[at:], "≈=~"))
	value, within, wide := strings.Cut(value, "±")
	if err := e.where(base); err != nil {
		return e, err
	}
	if wide {
		part, err := quantity.Parse(within, quantity.Share)
		if err != nil || part <= 0 || part >= 1 {
			return e, fmt.Errorf("%q after ± is no share; write it such as %q", strings.TrimSpace(within), "±5 %")
		}
		e.Within = part
	}
	return e, e.reads(strings.TrimSpace(value))
}

func (e *Expectation) where(base int) (err error) {
	name, register, given := strings.Cut(e.Name, "@")
	if given {
		e.Name = strings.TrimSpace(name)
		e.Table, e.Address, err = regmap.ParseDocAddress(strings.TrimSpace(register), base)
	}
	return err
}

func (e *Expectation) reads(value string) error {
	end := strings.LastIndexAny(value, "0123456789.") + 1
	if space := strings.IndexByte(value, ' '); space >= 0 {
		end = space
	} else {
		for end > 0 && !isNumber(value[:end]) {
			end--
		}
	}
	x, err := strconv.ParseFloat(value[:end], 64)
	symbol := strings.TrimSpace(value[end:])
	switch {
	case err != nil || math.IsNaN(x) || math.IsInf(x, 0):
		return fmt.Errorf("%q is no number with a unit; write it such as %q", value, "1780 rpm")
	case x == 0:
		return fmt.Errorf("0 stands in too many registers; read %s while it is not 0", e.Name)
	}
	e.Value = x
	if symbol == "" {
		return nil
	}
	unit, known := quantity.Lookup(symbol)
	if !known {
		return fmt.Errorf("unit %q of %s is not known; write one such as bar, °C, rpm, L/min, A, kW or h", symbol, e.Name)
	}
	e.Unit = unit
	return nil
}

func isNumber(text string) bool {
	_, err := strconv.ParseFloat(text, 64)
	return err == nil
}

// A Find is one place and one way in which an expected value stands.
type Find struct {
	Table   regmap.Table
	Address uint16
	Reading Reading
	Scale   float64       // raw × Scale is the value in Unit
	Unit    quantity.Unit // the expectation's, or another of its dimension
	Off     float64       // how far the register is from the value, as a part of it
}

// scales are those that devices use, likeliest first.
var scales = []float64{1, 0.1, 0.01, 10, 0.001, 100, 1e-4, 1000}

// coarsest is how much one count may be worth, as a part of the value: a
// register of two counts says nothing about 1780 rpm.
const coarsest = 0.02

// Find looks for e in every block, in every type, word order, usual scale and
// unit of its dimension. The likeliest comes first: where and how the manual
// has it, then the plainest.
func (e *Expectation) Find(blocks []Block) []Find {
	var found []Find
	for _, b := range blocks {
		for i := range b {
			if b[i].Table.HasBits() || isBlank(b[i:i+1]) && len(b[i].Rounds) > 0 && !e.follows(b, i) {
				continue
			}
			for _, r := range Readings(b, i) {
				if f, ok := e.fits(&b[i], r); ok && e.oddness(&f) <= oddest {
					found = append(found, f)
				}
			}
		}
	}
	slices.SortStableFunc(found, func(a, b Find) int { return e.Compare(&a, &b) })
	return found
}

// follows reports whether a blank register may be one half of a wide value.
func (e *Expectation) follows(b Block, i int) bool { return i+1 < len(b) && !isBlank(b[i+1:i+2]) }

// fits finds the plainest scale and unit in which r is the expected value.
func (e *Expectation) fits(c *Cell, r Reading) (Find, bool) {
	last := r.Last()
	if math.IsNaN(last) || last == 0 || !r.Steady || r.endsEmpty() || r.saysNoMore() {
		return Find{}, false
	}
	isFloat := r.Type == regmap.Float32 || r.Type == regmap.Float64
	for _, u := range e.units() {
		want := e.in(u)
		for _, scale := range scales {
			if isFloat && scale != 1 {
				break // a device that sends floats has no need of a scale
			}
			off := math.Abs(last*scale-want) / math.Abs(want)
			if off <= e.Within && (isFloat || scale <= coarsest*math.Abs(want)) {
				return Find{Table: c.Table, Address: c.Address, Reading: r, Scale: scale, Unit: u, Off: off}, true
			}
		}
	}
	return Find{}, false
}

// units are the expectation's own and then those of its dimension that devices
// use beside it.
func (e *Expectation) units() []quantity.Unit {
	list := []quantity.Unit{e.Unit}
	for _, symbol := range deviceUnits[e.Unit.Dimension] {
		if u, known := quantity.Lookup(symbol); known && u != e.Unit {
			list = append(list, u)
		}
	}
	return list
}

// deviceUnits are the units in which devices keep what a display shows in
// another one.
var deviceUnits = map[quantity.Dimension][]string{
	quantity.Pressure:    {"bar", "kPa", "psi"},
	quantity.Temperature: {"°C", "°F"},
	quantity.Flow:        {"L/min", "m³/h", "gpm"},
	quantity.Power:       {"kW", "W", "hp"},
	quantity.Duration:    {"h", "s"},
	quantity.Volume:      {"L", "m³", "gal"},
}

// in gives the expected value in another unit of its dimension.
func (e *Expectation) in(u quantity.Unit) float64 {
	if e.Unit.Dimension == quantity.None {
		return e.Value
	}
	return u.FromBase(e.Unit.ToBase(e.Value))
}

// Compare orders finds: the one likelier to be the expected value first.
func (e *Expectation) Compare(a, b *Find) int { return cmp.Compare(e.strangeness(a), e.strangeness(b)) }

// oddest is the oddness beyond which a match is chance: among some dozen
// readings of each register, in several scales and units, some always match.
const oddest = 6

// oddness grows with what is unusual in how f is read.
func (e *Expectation) oddness(f *Find) float64 {
	odd := oddness(&f.Reading) + f.Off/e.Within + 0.3*float64(slices.Index(scales, f.Scale))
	if f.Unit != e.Unit {
		odd += 2
	}
	return odd
}

// strangeness is the oddness and how far f is from where the manual has it.
func (e *Expectation) strangeness(f *Find) float64 {
	odd := e.oddness(f)
	if e.Table != regmap.NoTable {
		odd += 3 * math.Min(3, math.Abs(float64(f.Address)-float64(e.Address)))
		if f.Table != e.Table {
			odd += 4
		}
	}
	return odd
}

// String writes f as table, address, type, word order, scale and unit.
func (f *Find) String() string {
	return fmt.Sprintf("%v %d %v %v ×%g %s", f.Table, f.Address, f.Reading.Type, f.Reading.Order, f.Scale, f.Unit.Symbol)
}

// String gives e as [ParseExpectation] reads it, without where it should stand.
func (e *Expectation) String() string {
	return strings.TrimSpace(fmt.Sprintf("%s≈%g %s", e.Name, e.Value, e.Unit.Symbol))
}

// Now gives the value at f as the newest round of blocks has it; false when the
// blocks do not hold it.
func (f *Find) Now(blocks []Block) (float64, bool) {
	for _, b := range blocks {
		i := int(f.Address) - int(b[0].Address)
		if b[0].Table != f.Table || i < 0 || i+f.Reading.Type.Registers() > len(b) {
			continue
		}
		r := read(b, i, f.Reading.Type, f.Reading.Order)
		return r.Last() * f.Scale, true
	}
	return 0, false
}
