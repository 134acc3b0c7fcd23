package regmap_test

import (
	"math"
	"testing"

	"pumpside/drivers"
	"pumpside/drivers/drive"
	"pumpside/drivers/quantity"
	"pumpside/drivers/regmap"
)

type registers = []uint16

// point is a holding row at address 0 without scaling.
func point(t regmap.Type, o regmap.WordOrder) regmap.Point {
	return regmap.Point{Name: "x", Table: regmap.Holding, Type: t, Order: o, Scale: 1}
}

func unit(t testing.TB, symbol string) quantity.Unit {
	t.Helper()
	u, ok := quantity.Lookup(symbol)
	if !ok {
		t.Fatalf("unit %q is not known", symbol)
	}
	return u
}

// same compares numbers with NaN equal to itself.
func same(a, b float64) bool { return a == b || math.IsNaN(a) && math.IsNaN(b) }

// A register is big-endian: Modbus application protocol V1.1b3, §4.2. Floats:
// IEEE 754-2008, single 47F12065 and double 400921FB54442D18 are the nearest to
// 123456.789 and to pi. BCD: four bits a digit. All words put together by hand.
func TestEveryTypeInEveryWordOrder(t *testing.T) {
	const (
		none = regmap.NoOrder
		abcd = regmap.ABCD
		cdab = regmap.CDAB
		badc = regmap.BADC
		dcba = regmap.DCBA
	)
	tests := []struct {
		name  string
		typ   regmap.Type
		order regmap.WordOrder
		words registers
		want  float64
	}{
		{"bool 0", regmap.Bool, none, registers{0}, 0},
		{"bool 1", regmap.Bool, none, registers{1}, 1},
		{"bool as devices write a coil", regmap.Bool, none, registers{0xFF00}, 1},
		{"bit 0 is worth 1", regmap.Bit(0), none, registers{0x0001}, 1},
		{"bit 3 is worth 8", regmap.Bit(3), none, registers{0x0008}, 1},
		{"bit 15 is worth 32768", regmap.Bit(15), none, registers{0x8000}, 1},
		{"bit 15 alone is 0", regmap.Bit(15), none, registers{0x7FFF}, 0},
		{"bit 0 with its bytes swapped", regmap.Bit(0), badc, registers{0x0100}, 1},

		{"int16 greatest", regmap.Int16, none, registers{0x7FFF}, 32767},
		{"int16 least", regmap.Int16, none, registers{0x8000}, -32768},
		{"int16 minus two", regmap.Int16, none, registers{0xFFFE}, -2},
		{"int16 with its bytes swapped", regmap.Int16, badc, registers{0xFEFF}, -2},
		{"uint16", regmap.Uint16, none, registers{0xFFFE}, 65534},
		{"uint16 with its bytes swapped", regmap.Uint16, badc, registers{0x3412}, 0x1234},

		{"int32 ABCD", regmap.Int32, abcd, registers{0x8765, 0x4321}, -2023406815},
		{"int32 CDAB", regmap.Int32, cdab, registers{0x4321, 0x8765}, -2023406815},
		{"int32 BADC", regmap.Int32, badc, registers{0x6587, 0x2143}, -2023406815},
		{"int32 DCBA", regmap.Int32, dcba, registers{0x2143, 0x6587}, -2023406815},
		{"uint32 ABCD", regmap.Uint32, abcd, registers{0x8765, 0x4321}, 2271560481},
		{"uint32 CDAB", regmap.Uint32, cdab, registers{0x4321, 0x8765}, 2271560481},
		{"uint32 BADC", regmap.Uint32, badc, registers{0x6587, 0x2143}, 2271560481},
		{"uint32 DCBA", regmap.Uint32, dcba, registers{0x2143, 0x6587}, 2271560481},

		{"int64 ABCD", regmap.Int64, abcd, registers{0xFFF0, 0x1234, 0x5678, 0x9ABD}, -0xFEDCBA9876543},
		{"int64 CDAB", regmap.Int64, cdab, registers{0x9ABD, 0x5678, 0x1234, 0xFFF0}, -0xFEDCBA9876543},
		{"int64 BADC", regmap.Int64, badc, registers{0xF0FF, 0x3412, 0x7856, 0xBD9A}, -0xFEDCBA9876543},
		{"int64 DCBA", regmap.Int64, dcba, registers{0xBD9A, 0x7856, 0x3412, 0xF0FF}, -0xFEDCBA9876543},
		{"uint64 ABCD", regmap.Uint64, abcd, registers{0x000F, 0xEDCB, 0xA987, 0x6543}, 0xFEDCBA9876543},
		{"uint64 CDAB", regmap.Uint64, cdab, registers{0x6543, 0xA987, 0xEDCB, 0x000F}, 0xFEDCBA9876543},
		{"uint64 BADC", regmap.Uint64, badc, registers{0x0F00, 0xCBED, 0x87A9, 0x4365}, 0xFEDCBA9876543},
		{"uint64 DCBA", regmap.Uint64, dcba, registers{0x4365, 0x87A9, 0xCBED, 0x0F00}, 0xFEDCBA9876543},
		{"uint64 above 2^53 is the nearest float", regmap.Uint64, abcd, registers{0xFFFF, 0xFFFF, 0xFFFF, 0xFFFF}, 1 << 64},

		{"float32 one", regmap.Float32, abcd, registers{0x3F80, 0x0000}, 1},
		{"float32 minus two and a half", regmap.Float32, abcd, registers{0xC020, 0x0000}, -2.5},
		{"float32 ABCD", regmap.Float32, abcd, registers{0x47F1, 0x2065}, 123456.7890625},
		{"float32 CDAB", regmap.Float32, cdab, registers{0x2065, 0x47F1}, 123456.7890625},
		{"float32 BADC", regmap.Float32, badc, registers{0xF147, 0x6520}, 123456.7890625},
		{"float32 DCBA", regmap.Float32, dcba, registers{0x6520, 0xF147}, 123456.7890625},
		{"float64 ABCD", regmap.Float64, abcd, registers{0x4009, 0x21FB, 0x5444, 0x2D18}, math.Pi},
		{"float64 CDAB", regmap.Float64, cdab, registers{0x2D18, 0x5444, 0x21FB, 0x4009}, math.Pi},
		{"float64 BADC", regmap.Float64, badc, registers{0x0940, 0xFB21, 0x4454, 0x182D}, math.Pi},
		{"float64 DCBA", regmap.Float64, dcba, registers{0x182D, 0x4454, 0xFB21, 0x0940}, math.Pi},

		{"bcd16", regmap.BCD16, none, registers{0x1234}, 1234},
		{"bcd16 all nines", regmap.BCD16, none, registers{0x9999}, 9999},
		{"bcd16 with its bytes swapped", regmap.BCD16, badc, registers{0x3412}, 1234},
		{"bcd32 ABCD", regmap.BCD32, abcd, registers{0x1234, 0x5678}, 12345678},
		{"bcd32 CDAB", regmap.BCD32, cdab, registers{0x5678, 0x1234}, 12345678},
		{"bcd32 BADC", regmap.BCD32, badc, registers{0x3412, 0x7856}, 12345678},
		{"bcd32 DCBA", regmap.BCD32, dcba, registers{0x7856, 0x3412}, 12345678},

		{"CiA 402 operation enabled", regmap.Status402, none, registers{0x0237}, float64(drivers.DriveRunning)},
		{"CiA 402 fault", regmap.Status402, none, registers{0x0208}, float64(drivers.DriveFault)},
		{"CiA 402 with its bytes swapped", regmap.Status402, badc, registers{0x3702}, float64(drivers.DriveRunning)},
		{"PROFIdrive ready", regmap.StatusPROFIdrive, none, registers{0x0231}, float64(drivers.DriveStopped)},
		{"run bit", regmap.RunBit(4), none, registers{0x0010}, float64(drivers.DriveRunning)},
		{"run bit and fault bit", regmap.RunBitFault(4, 0), none, registers{0x0011}, float64(drivers.DriveFault)},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			p := point(tt.typ, tt.order)
			if problems := p.Problems(); len(problems) > 0 {
				t.Fatal(problems)
			}
			want := regmap.Value{Number: tt.want, Quality: drivers.Good, RawWords: uint8(len(tt.words))}
			copy(want.Raw[:], tt.words)
			if got := p.Decode(tt.words); got != want {
				t.Errorf("%v %v of %04X is %+v, want %+v", tt.typ, tt.order, tt.words, got, want)
			}
		})
	}
}

func TestValuesThatAreNoNumber(t *testing.T) {
	with := func(p regmap.Point, change func(*regmap.Point)) regmap.Point {
		change(&p)
		return p
	}
	absent := func(raw ...uint64) func(*regmap.Point) {
		return func(p *regmap.Point) { p.NotAvailable = raw }
	}
	nan := math.NaN()
	tests := []struct {
		name   string
		p      regmap.Point
		words  registers
		number float64
		reason drivers.Reason
	}{
		{"float32 quiet NaN", point(regmap.Float32, regmap.ABCD), registers{0x7FC0, 0}, nan, drivers.NotAvailable},
		{"float32 negative NaN, words swapped", point(regmap.Float32, regmap.CDAB), registers{0xFFFF, 0xFFFF}, nan, drivers.NotAvailable},
		{"float64 NaN", point(regmap.Float64, regmap.ABCD), registers{0x7FF8, 0, 0, 0}, nan, drivers.NotAvailable},
		{"float32 infinity", point(regmap.Float32, regmap.ABCD), registers{0x7F80, 0}, nan, drivers.OutOfRange},
		{"scaled past the largest number", with(point(regmap.Float64, regmap.ABCD), func(p *regmap.Point) { p.Scale = 1e10 }), registers{0x7FEF, 0xFFFF, 0xFFFF, 0xFFFF}, nan, drivers.OutOfRange},
		{"bcd16 digit above 9", point(regmap.BCD16, regmap.NoOrder), registers{0x12A4}, nan, drivers.NotAvailable},
		{"bcd16 top digit above 9", point(regmap.BCD16, regmap.NoOrder), registers{0xF000}, nan, drivers.NotAvailable},
		{"bcd32 digit above 9", point(regmap.BCD32, regmap.ABCD), registers{0x1234, 0x567B}, nan, drivers.NotAvailable},
		{"int16 pattern 0x8000", with(point(regmap.Int16, regmap.NoOrder), absent(0x8000)), registers{0x8000}, nan, drivers.NotAvailable},
		{"second of two patterns", with(point(regmap.Uint16, regmap.NoOrder), absent(0x8000, 0xFFFF)), registers{0xFFFF}, nan, drivers.NotAvailable},
		{"uint32 pattern in the value's own order", with(point(regmap.Uint32, regmap.CDAB), absent(0x12345678)), registers{0x5678, 0x1234}, nan, drivers.NotAvailable},
		{"bit of a word that means no value", with(point(regmap.Bit(2), regmap.NoOrder), absent(0xFFFF)), registers{0xFFFF}, nan, drivers.NotAvailable},
		{"above the valid range", with(point(regmap.Int16, regmap.NoOrder), func(p *regmap.Point) { p.Valid = regmap.Range{Low: -40, High: 150} }), registers{151}, 151, drivers.OutOfRange},
		{"below the valid range", with(point(regmap.Int16, regmap.NoOrder), func(p *regmap.Point) { p.Valid = regmap.Range{Low: -40, High: 150} }), registers{0xFFD7}, -41, drivers.OutOfRange},
		{"CiA 402 undefined pattern", point(regmap.Status402, regmap.NoOrder), registers{0x0001}, 0, drivers.OutOfRange},
		{"PROFIdrive contradiction", point(regmap.StatusPROFIdrive, regmap.NoOrder), registers{0xFFFF}, 0, drivers.OutOfRange},
		{"run bit of a word that means no value", with(point(regmap.RunBit(0), regmap.NoOrder), absent(0xFFFF)), registers{0xFFFF}, nan, drivers.NotAvailable},
		{"one register of two", point(regmap.Uint32, regmap.ABCD), registers{1}, nan, drivers.Garbled},
		{"no registers", point(regmap.Uint16, regmap.NoOrder), nil, nan, drivers.Garbled},
		{"no type", point(regmap.NoType, regmap.NoOrder), nil, nan, drivers.Garbled},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			got := tt.p.Decode(tt.words)
			if got.Quality != drivers.Bad || got.Reason != tt.reason || !same(got.Number, tt.number) {
				t.Errorf("decodes to %v %v (%v), want %v bad (%v)", got.Number, got.Quality, got.Reason, tt.number, tt.reason)
			}
		})
	}
}

// 1 psi = 6894.757 Pa, C = (F - 32)/1.8.
func TestScaleOffsetAndUnitGiveTheBaseUnit(t *testing.T) {
	tests := []struct {
		name          string
		typ           regmap.Type
		scale, offset float64
		unit          string
		word          uint16
		want          float64
	}{
		{"temperature in tenths of a degree", regmap.Int16, 0.1, 0, "°C", 0xFFF6, -1},
		{"temperature in degrees Fahrenheit", regmap.Int16, 1, 0, "°F", 212, 100},
		{"pressure in tenths of a bar", regmap.Uint16, 0.1, 0, "bar", 1000, 10e6},
		{"pressure in psi", regmap.Uint16, 1, 0, "psi", 1450, 9997398.075},
		{"frequency in hundredths of a hertz", regmap.Uint16, 0.01, 0, "Hz", 4987, 49.87},
		{"a 12-bit count over -1 to 15 bar", regmap.Uint16, 16.0 / 4095, -1, "bar", 4095, 15e5},
		{"hour meter to seconds", regmap.Uint16, 1, 0, "h", 500, 1.8e6},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			p := point(tt.typ, regmap.NoOrder)
			p.Scale, p.Offset, p.Unit = tt.scale, tt.offset, unit(t, tt.unit)
			got := p.Decode(registers{tt.word})
			if got.Quality != drivers.Good || math.Abs(got.Number-tt.want) > 1e-9*math.Abs(tt.want) {
				t.Errorf("decodes to %.10g (%v), want %.10g", got.Number, got.Quality, tt.want)
			}
		})
	}
}

func TestASwitchCanBeTurnedRound(t *testing.T) {
	p := point(regmap.Bit(1), regmap.NoOrder)
	p.Scale, p.Offset = -1, 1
	if open, closed := p.Decode(registers{0}), p.Decode(registers{2}); open.Number != 1 || closed.Number != 0 {
		t.Errorf("open %v, closed %v", open.Number, closed.Number)
	}
}

func TestDriveStatusNamesThePreciseState(t *testing.T) {
	p := point(regmap.Status402, regmap.BADC)
	got, ok := p.DriveStatus(p.Decode(registers{0xB702}))
	want := drive.Status{State: drivers.DriveRunning, Warning: true, Name: "operation enabled"}
	if got != want || !ok {
		t.Errorf("status %+v, %v", got, ok)
	}
	if _, ok := p.DriveStatus(regmap.Value{}); ok {
		t.Error("a value that was never read has a drive status")
	}
	speed := point(regmap.Uint16, regmap.NoOrder)
	if _, ok := speed.DriveStatus(speed.Decode(registers{1})); ok {
		t.Error("a speed has a drive status")
	}
}

func TestAReadingKeepsNumberAndQuality(t *testing.T) {
	v := regmap.Value{Number: 7, Quality: drivers.Uncertain, Reason: drivers.Repeated}
	want := drivers.Reading{Signal: drivers.GlycolFlow, Value: 7, Quality: drivers.Uncertain, Reason: drivers.Repeated}
	if got := v.Reading(drivers.GlycolFlow); got != want {
		t.Errorf("reading %+v, want %+v", got, want)
	}
}

func TestCountersRollOverAtTheSizeOfTheirRegisters(t *testing.T) {
	tests := []struct {
		name string
		p    regmap.Point
		size float64
		ok   bool
	}{
		{"uint16", point(regmap.Uint16, regmap.NoOrder), 65536, true},
		{"int16 goes round the same", point(regmap.Int16, regmap.NoOrder), 65536, true},
		{"uint32", point(regmap.Uint32, regmap.ABCD), 4294967296, true},
		{"bcd16", point(regmap.BCD16, regmap.NoOrder), 10000, true},
		{"float32 does not", point(regmap.Float32, regmap.ABCD), 0, false},
		{"a bit does not", point(regmap.Bit(0), regmap.NoOrder), 0, false},
		{"hours in tenths, as seconds", regmap.Point{Type: regmap.Uint16, Scale: 0.1, Unit: unit(t, "h")}, 65536 * 360, true},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			size, ok := tt.p.RollsOver()
			if math.Abs(size-tt.size) > 1e-6 || ok != tt.ok {
				t.Errorf("rolls over at %v, %v; want %v, %v", size, ok, tt.size, tt.ok)
			}
		})
	}
}
