package probe

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"pumpside/drivers"
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

	State  drivers.DriveState // instead of a value: what the drive is doing
	Switch bool               // Value is 0 or 1, of a contact

	Spanned   bool    // the register counts a measuring range, in a way not known
	Low, High float64 // its ends, in Unit

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
// or 1. "of 0 to 100 bar" after the value says what an analog input measures
// whose counts are not known. "±5 %" at the end widens the 2 % that count as
// the same. Instead of a value there may be what a drive is doing, such as
// "status=running", or how a contact stands, such as "demand@10202=on".
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
	if is, err := e.word(strings.TrimSpace(value)); is {
		return e, err
	}
	value, err := e.ends(value)
	if err != nil {
		return e, err
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
	x, unit, err := numberWithUnit(value, e.Name)
	switch {
	case err != nil:
		return err
	case x == 0:
		return fmt.Errorf("0 stands in too many registers; read %s while it is not 0", e.Name)
	case e.Spanned && (unit != e.Unit || e.part(x) < 0 || e.part(x) > 1):
		return fmt.Errorf("%q does not lie between %g and %g %s, its measuring range; write it such as %q", value, e.Low, e.High, e.Unit.Symbol, "70 bar of 0 to 100 bar")
	}
	e.Value, e.Unit = x, unit
	return nil
}

// part is where a value lies in the measuring range, 0 to 1.
func (e *Expectation) part(x float64) float64 { return (x - e.Low) / (e.High - e.Low) }

// numberWithUnit reads "1780 rpm", "1e3bar" or a plain number.
func numberWithUnit(text, name string) (float64, quantity.Unit, error) {
	end := strings.LastIndexAny(text, "0123456789.") + 1
	if space := strings.IndexByte(text, ' '); space >= 0 {
		end = space
	} else {
		for end > 0 && !isNumber(text[:end]) {
			end--
		}
	}
	x, err := strconv.ParseFloat(text[:end], 64)
	if err != nil || math.IsNaN(x) || math.IsInf(x, 0) {
		return 0, plain, fmt.Errorf("%q is no number with a unit; write it such as %q", text, "1780 rpm")
	}
	symbol := strings.TrimSpace(text[end:])
	if symbol == "" {
		return x, plain, nil
	}
	unit, known := quantity.Lookup(symbol)
	if !known {
		return 0, plain, fmt.Errorf("unit %q of %s is not known; write one such as bar, °C, rpm, L/min, A, kW or h", symbol, name)
	}
	return x, unit, nil
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
	Scale   float64       // raw × Scale + Offset is the value in Unit
	Offset  float64       // 0 but in a span
	Span    *Span         // how an analog input counts; nil for what is no analog input
	Unit    quantity.Unit // the expectation's, or another of its dimension
	Off     float64       // how far the register is from the value, as a part of it
	Shift   int           // how many addresses after the manual's its whole device stands; see [Agree]
	proven  bool          // more than one value says so
}

func (f *Find) value(raw float64) float64 { return raw*f.Scale + f.Offset }

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
			switch {
			case e.Switch:
				found = append(found, e.switches(b, i)...)
				continue
			case e.State != drivers.DriveUnknown:
				found = append(found, e.states(b, i)...)
				continue
			}
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
	if math.IsNaN(last) || last == 0 || !r.Steady || r.endsEmpty() || e.saysNoMore(&r) {
		return Find{}, false
	}
	if e.Spanned {
		return e.spans(c, r)
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
	if f.Span != nil {
		odd += 0.3 * float64(slices.Index(usualSpans, *f.Span))
	}
	if f.Reading.Type == regmap.StatusPROFIdrive {
		odd++
	}
	return odd
}

// mayBeNegative are the dimensions whose values go below zero now and then: a
// motor turned backwards a little, a winter's night.
var mayBeNegative = []quantity.Dimension{quantity.Speed, quantity.Torque, quantity.Power, quantity.Temperature}

// saysNoMore reports whether another reading of the same bits says the same and
// says it better: with a sign where a value may be negative, without elsewhere.
func (e *Expectation) saysNoMore(r *Reading) bool {
	if !slices.Contains(mayBeNegative, e.Unit.Dimension) {
		return r.saysNoMore()
	}
	return (r.Type == regmap.Uint16 || r.Type == regmap.Uint32 || r.Type == regmap.Uint64) && r.Last() < math.Exp2(float64(16*r.Type.Registers()-1))
}

// strangeness is the oddness and how far f is from where the manual has it.
func (e *Expectation) strangeness(f *Find) float64 {
	odd := e.oddness(f)
	if e.Table != regmap.NoTable {
		odd += 3 * math.Min(3, math.Abs(float64(f.Address)-float64(e.Address)-float64(f.Shift)))
		if f.Table != e.Table {
			odd += 4
		}
	}
	return odd
}

// String writes f as table, address, type, word order, scale and unit.
func (f *Find) String() string {
	switch {
	case f.Span != nil:
		return fmt.Sprintf("%v %d %v %v", f.Table, f.Address, typeAndOrder(&f.Reading), *f.Span)
	case f.Unit == plain && f.Scale == 1:
		return fmt.Sprintf("%v %d %v", f.Table, f.Address, typeAndOrder(&f.Reading))
	}
	return fmt.Sprintf("%v %d %v %v ×%g %s", f.Table, f.Address, f.Reading.Type, f.Reading.Order, f.Scale, f.Unit.Symbol)
}

// String gives e as [ParseExpectation] reads it, without where it should stand.
func (e *Expectation) String() string {
	switch {
	case e.State != drivers.DriveUnknown:
		return e.Name + "=" + e.State.String()
	case e.Switch && e.Value == 1:
		return e.Name + "=on"
	case e.Switch:
		return e.Name + "=off"
	}
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
		return f.value(r.Last()), true
	}
	return 0, false
}
