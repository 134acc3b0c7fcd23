package regmap_test

import (
	"math"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"pumpside/drivers/quantity"
	"pumpside/drivers/regmap"
)

func TestProblemsOfARowSayWhatWouldBeRight(t *testing.T) {
	plain := point(regmap.Uint16, regmap.NoOrder)
	pressure := plain
	pressure.Unit = quantity.Unit{Symbol: "kPa", Dimension: quantity.Pressure, Scale: 1000}
	loopRow := pressure
	loopRow.Scale, loopRow.Loop = 0.001, regmap.Range{Low: 0, High: 10e6}

	tests := []struct {
		name   string
		row    regmap.Point
		change func(*regmap.Point)
		want   []string
	}{
		{"nothing", plain, func(*regmap.Point) {}, nil},
		{"a pressure with everything", loopRow, func(p *regmap.Point) {
			p.Valid, p.Class, p.UpdatePeriod = regmap.Range{Low: -1e5, High: 12e6}, regmap.Fast, time.Second
			p.Path = regmap.Path{Damping: 0, DampingKnown: true, Snubber: time.Second, Resolution: 2600, SharedWith: []string{"GP-2"}}
		}, nil},
		{"nothing at all", regmap.Point{}, func(*regmap.Point) {}, []string{
			"points[0].name: missing; give the point a name of its own",
			"points[0].table: missing; use one of coil, discrete, holding, input",
			"points[0].type: missing; say how the registers encode the value, such as uint16",
		}},
		{"a number in a table of bits", plain, func(p *regmap.Point) { p.Table = regmap.Coil }, []string{
			"points[0].type: uint16 needs a register, but an address of table coil is one bit; use bool",
		}},
		{"a bit past the register", plain, func(p *regmap.Point) { p.Type = regmap.Bit(16) }, []string{
			"points[0].type: a register has bits 0 to 15",
		}},
		{"a fault bit past the register", plain, func(p *regmap.Point) { p.Type = regmap.RunBitFault(1, 16) }, []string{
			"points[0].type: a register has bits 0 to 15",
		}},
		{"two registers at the last address", plain, func(p *regmap.Point) { p.Type, p.Order, p.Address = regmap.Float32, regmap.ABCD, 65535 }, []string{
			"points[0].address: float32 at 65535 goes past the last address, 65535",
		}},
		{"no word order", plain, func(p *regmap.Point) { p.Type = regmap.Float32 }, []string{
			"points[0].word_order: missing; float32 takes 2 registers and no order is usual: say ABCD, CDAB, BADC or DCBA",
		}},
		{"a word order for one register", plain, func(p *regmap.Point) { p.Order = regmap.CDAB }, []string{
			"points[0].word_order: uint16 takes one register, which has no word order; leave it out, or write BADC if the device swaps its two bytes",
		}},
		{"swapped bytes in one register", plain, func(p *regmap.Point) { p.Order = regmap.BADC }, nil},
		{"a word order for a coil", plain, func(p *regmap.Point) { p.Table, p.Type, p.Order = regmap.Coil, regmap.Bool, regmap.BADC }, []string{
			"points[0].word_order: a single bit has no order; leave it out",
		}},
		{"no scale", plain, func(p *regmap.Point) { p.Scale = 0 }, []string{
			"points[0].scale: is 0, so every value would be the same; write 1 for no scaling",
		}},
		{"a scale that is no number", plain, func(p *regmap.Point) { p.Scale = math.NaN() }, []string{
			"points[0].scale: NaN is not a finite number",
		}},
		{"an endless offset", plain, func(p *regmap.Point) { p.Offset = math.Inf(-1) }, []string{
			"points[0].offset: -Inf is not a finite number",
		}},
		{"a scaled status word", plain, func(p *regmap.Point) { p.Type, p.Scale = regmap.Status402, 0.1 }, []string{
			"points[0].scale: a status word is not scaled; leave scale and offset out",
		}},
		{"a switch turned round", plain, func(p *regmap.Point) { p.Type, p.Scale, p.Offset = regmap.Bit(3), -1, 1 }, nil},
		{"a scaled switch", plain, func(p *regmap.Point) { p.Type, p.Scale = regmap.Bit(3), 10 }, []string{
			"points[0].scale: a switch is 0 or 1; only scale -1 with offset 1 makes sense, which turns it round",
		}},
		{"a switch with a unit", pressure, func(p *regmap.Point) { p.Type = regmap.Bit(3) }, []string{
			"points[0].unit: bit 3 has no unit; leave it out",
		}},
		{"a unit without scale", plain, func(p *regmap.Point) { p.Unit = quantity.Unit{Symbol: "bar", Dimension: quantity.Pressure} }, []string{
			`points[0].unit: "bar" does not convert to a base unit`,
		}},
		{"a loop with equal ends", loopRow, func(p *regmap.Point) { p.Loop = regmap.Range{Low: 5, High: 5} }, []string{
			"points[0].loop: give two different values, those at 4 mA and at 20 mA",
		}},
		{"a loop that falls with the level", loopRow, func(p *regmap.Point) { p.Loop = regmap.Range{Low: 10e6, High: 0} }, nil},
		{"a loop whose raw value is no current", loopRow, func(p *regmap.Point) { p.Scale = 0.0001 }, []string{
			"points[0].scale: raw·scale + offset must be the current in mA, but uint16 goes from 0 to 6.5535 here",
		}},
		{"a loop that cannot come down to 4 mA", loopRow, func(p *regmap.Point) { p.Offset = 8 }, []string{
			"points[0].scale: raw·scale + offset must be the current in mA, but uint16 goes from 8 to 73.535 here",
		}},
		{"a loop that is a switch", loopRow, func(p *regmap.Point) { p.Type, p.Scale, p.Unit = regmap.Bit(0), 1, quantity.Unit{} }, []string{
			"points[0].loop: bit 0 is no current; leave it out",
		}},
		{"a full scale of 4 to 20 mA", loopRow, func(p *regmap.Point) { p.Scale, p.Offset = 16.0/65535, 4 }, nil},
		{"a range upside down", pressure, func(p *regmap.Point) { p.Valid = regmap.Range{Low: 9, High: 3} }, []string{
			"points[0].valid: give the lower end first and a higher one after it",
		}},
		{"a range no value reaches", pressure, func(p *regmap.Point) { p.Valid = regmap.Range{Low: 70e6, High: 90e6} }, []string{
			"points[0].valid: no value can be in it: this row goes from 0 to 6.5535e+07 Pa, the range from 7e+07 to 9e+07; look at scale and unit",
		}},
		{"a range no loop current reaches", loopRow, func(p *regmap.Point) { p.Valid = regmap.Range{Low: 12e6, High: 90e6} }, []string{
			"points[0].valid: no value can be in it: this row goes from -125000 to 1.03125e+07 Pa, the range from 1.2e+07 to 9e+07; look at scale and unit",
		}},
		{"a range of a switch", plain, func(p *regmap.Point) { p.Type, p.Valid = regmap.Bit(3), regmap.Range{Low: 0, High: 1} }, []string{
			"points[0].valid: bit 3 has no range; leave it out",
		}},
		{"a pattern that is too wide", plain, func(p *regmap.Point) { p.NotAvailable = []uint64{0xFFFF, 0xFFFFFFFF} }, []string{
			"points[0].not_available: 0xFFFFFFFF does not fit the 16 bits of uint16",
		}},
		{"a pattern of a coil", plain, func(p *regmap.Point) { p.Table, p.Type, p.NotAvailable = regmap.Coil, regmap.Bool, []uint64{1} }, []string{
			"points[0].not_available: a single bit has no room for a pattern; leave it out",
		}},
		{"a period of less than nothing", pressure, func(p *regmap.Point) { p.UpdatePeriod = -time.Second }, []string{
			"points[0].update_period: -1s is less than no time",
		}},
		{"a period of a switch", plain, func(p *regmap.Point) { p.Type, p.UpdatePeriod = regmap.Bit(3), time.Second }, []string{
			"points[0].update_period: bit 3 is read as it is; leave it out",
		}},
		{"a class nobody knows", plain, func(p *regmap.Point) { p.Class = 9 }, []string{
			"points[0].class: not known; use one of routine, slow, fast",
		}},
		{"the path of what is no pressure", plain, func(p *regmap.Point) {
			p.Path = regmap.Path{DampingKnown: true, Snubber: 1, Resolution: 1, SharedWith: []string{"GP-2"}}
		}, []string{
			"points[0].damping: only a pressure has one; leave it out",
			"points[0].snubber: only a pressure has one; leave it out",
			"points[0].resolution: only a pressure has one; leave it out",
			"points[0].shared_with: only a pressure has one; leave it out",
		}},
		{"a path of less than nothing", pressure, func(p *regmap.Point) { p.Path = regmap.Path{Damping: -1, Snubber: -1, Resolution: -1} }, []string{
			"points[0].damping: -1ns is less than no time",
			"points[0].snubber: -1ns is less than no time",
			"points[0].resolution: -1 Pa is no size of a count",
		}},
		{"several at once, in the order of the fields", plain, func(p *regmap.Point) { p.Type, p.Scale, p.UpdatePeriod = regmap.Int32, 0, -1 }, []string{
			"points[0].word_order: missing; int32 takes 2 registers and no order is usual: say ABCD, CDAB, BADC or DCBA",
			"points[0].scale: is 0, so every value would be the same; write 1 for no scaling",
			"points[0].update_period: -1ns is less than no time",
		}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			tt.change(&tt.row)
			if diff := cmp.Diff(tt.want, lines(regmap.Map{Points: []regmap.Point{tt.row}}.Problems())); diff != "" {
				t.Error(diff)
			}
		})
	}
}

func lines(problems regmap.Problems) []string {
	var list []string
	for _, p := range problems {
		list = append(list, p.Error())
	}
	return list
}

func TestProblemsBetweenRows(t *testing.T) {
	row := func(name string, address uint16, typ regmap.Type) regmap.Point {
		p := point(typ, regmap.NoOrder)
		p.Name, p.Address = name, address
		if typ.Registers() > 1 {
			p.Order = regmap.ABCD
		}
		return p
	}
	changed := func(p regmap.Point, change func(*regmap.Point)) regmap.Point {
		change(&p)
		return p
	}
	const only = "; rows may share registers only as different bits of one, or as the same value"
	tests := []struct {
		name string
		m    regmap.Map
		want []string
	}{
		{"neighbours", regmap.Map{Points: []regmap.Point{row("a", 0, regmap.Uint32), row("b", 2, regmap.Uint16)}}, nil},
		{"the same address of two tables", regmap.Map{Points: []regmap.Point{
			row("a", 0, regmap.Uint16), changed(row("b", 0, regmap.Uint16), func(p *regmap.Point) { p.Table = regmap.Input }),
		}}, nil},
		{"a name twice", regmap.Map{Points: []regmap.Point{row("a", 0, regmap.Uint16), row("a", 1, regmap.Uint16)}}, []string{
			`points[1].name: "a" is the name of points[0] already`,
		}},
		{"a value in the middle of another", regmap.Map{Points: []regmap.Point{row("a", 0, regmap.Uint32), row("b", 1, regmap.Uint16)}}, []string{
			`points[1].address: holding 1 is part of "a" already, as uint32` + only,
		}},
		{"the same registers in two types", regmap.Map{Points: []regmap.Point{row("a", 4, regmap.Uint32), row("b", 4, regmap.Float32)}}, []string{
			`points[1].address: holding 4..5 is part of "a" already, as uint32` + only,
		}},
		{"the same registers in two scales", regmap.Map{Points: []regmap.Point{
			row("a", 4, regmap.Uint16), changed(row("b", 4, regmap.Uint16), func(p *regmap.Point) { p.Scale = 0.1 }),
		}}, []string{
			`points[1].address: holding 4 is part of "a" already, as uint16` + only,
		}},
		{"the same register in two orders", regmap.Map{Points: []regmap.Point{
			row("a", 4, regmap.Uint16), changed(row("b", 4, regmap.Uint16), func(p *regmap.Point) { p.Order = regmap.BADC }),
		}}, []string{
			`points[1].address: holding 4 is part of "a" already, as uint16` + only,
		}},
		{"the same value under two names", regmap.Map{Points: []regmap.Point{row("a", 4, regmap.Uint16), row("b", 4, regmap.Uint16)}}, nil},
		{"bits and a status in one register", regmap.Map{Points: []regmap.Point{
			row("a", 4, regmap.Bit(1)), row("b", 4, regmap.Bit(2)), row("c", 4, regmap.Status402), row("d", 4, regmap.RunBit(2)),
		}}, nil},
		{"a bit in a number", regmap.Map{Points: []regmap.Point{row("a", 4, regmap.Uint16), row("b", 4, regmap.Bit(1))}}, []string{
			`points[1].address: holding 4 is part of "a" already, as uint16` + only,
		}},
		{"one bit both ways round", regmap.Map{Points: []regmap.Point{
			row("a", 4, regmap.Bit(1)), changed(row("b", 4, regmap.Bit(1)), func(p *regmap.Point) { p.Scale, p.Offset = -1, 1 }),
		}}, []string{
			`points[1].address: holding 4 is part of "a" already, as bit 1` + only,
		}},
		{"a point where the device cannot be read", regmap.Map{
			Points:     []regmap.Point{row("a", 4, regmap.Uint32)},
			Unreadable: []regmap.Span{{Table: regmap.Holding, First: 5, Count: 10}},
		}, []string{
			"points[0].address: holding 4..5 is in holding 5..14, which the map declares unreadable",
		}},
		{"an empty span", regmap.Map{Unreadable: []regmap.Span{{Table: regmap.Holding, First: 5, Count: 1}, {}}}, []string{
			"unreadable[1]: needs a table, and at least one address up to 65535",
		}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			if diff := cmp.Diff(tt.want, lines(tt.m.Problems())); diff != "" {
				t.Error(diff)
			}
		})
	}
}

func TestPointsAreFoundByName(t *testing.T) {
	m := regmap.Map{Points: []regmap.Point{{Name: "a"}, {Name: "b"}}}
	if i, ok := m.Index("b"); i != 1 || !ok {
		t.Errorf("b is %d, %v", i, ok)
	}
	if _, ok := m.Index("c"); ok {
		t.Error("c is found")
	}
}
