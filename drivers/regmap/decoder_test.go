package regmap_test

import (
	"math"
	"testing"
	"time"

	"pumpside/drivers"
	"pumpside/drivers/regmap"
)

func at(since time.Duration) drivers.Instant {
	return drivers.Instant{Boot: "boot-1", SinceBoot: since}
}

// seen is what matters of a value over time.
type seen struct {
	quality drivers.Quality
	reason  drivers.Reason
}

var (
	good     = seen{drivers.Good, drivers.ReasonNone}
	doubtful = seen{drivers.Uncertain, drivers.LoopUncertain}
	broken   = seen{drivers.Bad, drivers.LoopFailed}
	repeated = seen{drivers.Uncertain, drivers.Repeated}
	frozen   = seen{drivers.Bad, drivers.Frozen}
	ms       = time.Millisecond
)

func sight(v regmap.Value) seen { return seen{v.Quality, v.Reason} }

// loopPoint reads microamperes and spans 0 to 1000 Pa.
func loopPoint(t testing.TB) regmap.Point {
	p := point(regmap.Uint16, regmap.NoOrder)
	p.Scale, p.Unit, p.Loop = 0.001, unit(t, "Pa"), regmap.Range{Low: 0, High: 1000}
	return p
}

// NAMUR NE 43; y = low + (I - 4)/16·span.
func TestLoopCurrentsWithoutMemory(t *testing.T) {
	tests := []struct {
		name         string
		microamperes uint16
		number       float64
		want         seen
	}{
		{"no wire", 0, -250, broken},
		{"at the lower failure current", 3600, -25, broken},
		{"just above it", 3601, -24.9375, doubtful},
		{"just below measurement", 3799, -12.5625, doubtful},
		{"lower end of measurement", 3800, -12.5, good},
		{"live zero", 4000, 0, good},
		{"middle", 12000, 500, good},
		{"top of the span", 20000, 1000, good},
		{"upper end of measurement", 20500, 1031.25, good},
		{"just above it", 20501, 1031.3125, doubtful},
		{"just below the upper failure current", 20999, 1062.4375, doubtful},
		{"at the upper failure current", 21000, 1062.5, broken},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			p := loopPoint(t)
			got := p.Decode(registers{tt.microamperes})
			if math.Abs(got.Number-tt.number) > 1e-9 || sight(got) != tt.want {
				t.Errorf("%d µA is %v %v, want %v %v", tt.microamperes, got.Number, sight(got), tt.number, tt.want)
			}
		})
	}
}

func TestLoopsOverTime(t *testing.T) {
	type step struct {
		at           time.Duration
		microamperes uint16
		want         seen
	}
	tests := []struct {
		name  string
		steps []step
	}{
		{"a failure current fails when it was held for 4 s", []step{
			{0, 12000, good},
			{1000 * ms, 3500, doubtful},
			{4999 * ms, 3500, doubtful},
			{5000 * ms, 3500, broken},
			{9000 * ms, 3500, broken},
		}},
		{"a dip of under 4 s is doubtful and over", []step{
			{0, 12000, good},
			{1000 * ms, 22000, doubtful},
			{4000 * ms, 22000, doubtful},
			{4500 * ms, 12000, good},
			{5500 * ms, 22000, doubtful},
			{9400 * ms, 22000, doubtful},
		}},
		{"between the ranges is doubtful for ever and starts the hold anew", []step{
			{0, 3700, doubtful},
			{60000 * ms, 3700, doubtful},
			{61000 * ms, 3500, doubtful},
			{64000 * ms, 3700, doubtful},
			{65000 * ms, 3500, doubtful},
			{69000 * ms, 3500, broken},
		}},
		{"a failed loop stays failed until it measures again", []step{
			{0, 0, doubtful},
			{4000 * ms, 0, broken},
			{5000 * ms, 3700, broken},
			{6000 * ms, 3810, broken},
			{7000 * ms, 3820, good},
			{8000 * ms, 3800, good},
		}},
		{"noise on the end of measurement does not flicker", []step{
			{0, 3800, good},
			{1000 * ms, 3795, doubtful},
			{2000 * ms, 3805, doubtful},
			{3000 * ms, 3815, doubtful},
			{4000 * ms, 3820, good},
		}},
		{"noise on the failure current does not stop the hold", []step{
			{0, 3600, doubtful},
			{2000 * ms, 3615, doubtful},
			{4000 * ms, 3600, broken},
		}},
		{"from one failure current to the other the hold goes on", []step{
			{0, 0, doubtful},
			{2000 * ms, 22000, doubtful},
			{4000 * ms, 22000, broken},
		}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			d := regmap.NewDecoder(regmap.Map{Points: []regmap.Point{loopPoint(t)}})
			for i, s := range tt.steps {
				answer := regmap.Answer{Table: regmap.Holding, Words: registers{s.microamperes}}
				got := d.Decode(nil, at(s.at), answer)
				if len(got) != 1 || sight(got[0]) != s.want {
					t.Fatalf("step %d: %d µA at %v is %v, want %v", i, s.microamperes, s.at, got, s.want)
				}
			}
		})
	}
}

func TestTheHoldStartsAnewAfterABoot(t *testing.T) {
	d := regmap.NewDecoder(regmap.Map{Points: []regmap.Point{loopPoint(t)}})
	low := regmap.Answer{Table: regmap.Holding, Words: registers{0}}
	d.Decode(nil, at(0), low)
	after := drivers.Instant{Boot: "boot-2", SinceBoot: time.Hour}
	if got := d.Decode(nil, after, low)[0]; sight(got) != doubtful {
		t.Errorf("first reading of another boot is %v", sight(got))
	}
}

func TestALoopBeyondItsValidRange(t *testing.T) {
	p := loopPoint(t)
	p.Valid = regmap.Range{Low: 0, High: 900}
	tests := []struct {
		microamperes uint16
		want         seen
	}{
		{12000, good},
		{19000, seen{drivers.Bad, drivers.OutOfRange}},
		{20600, doubtful},
	}
	for _, tt := range tests {
		if got := p.Decode(registers{tt.microamperes}); sight(got) != tt.want {
			t.Errorf("%d µA is %v, want %v", tt.microamperes, sight(got), tt.want)
		}
	}
}

func TestADecoderFindsThePointsOfAnAnswer(t *testing.T) {
	m := regmap.Map{Points: []regmap.Point{
		{Name: "switch", Table: regmap.Coil, Address: 10, Type: regmap.Bool, Scale: 1},
		{Name: "speed", Table: regmap.Holding, Address: 10, Type: regmap.Uint16, Scale: 1},
		{Name: "hours", Table: regmap.Holding, Address: 11, Type: regmap.Uint32, Order: regmap.CDAB, Scale: 1},
		{Name: "bit", Table: regmap.Holding, Address: 13, Type: regmap.Bit(4), Scale: 1},
		{Name: "last", Table: regmap.Input, Address: 65535, Type: regmap.Uint16, Scale: 1},
	}}
	numbers := func(got []regmap.Value) map[string]float64 {
		all := map[string]float64{}
		for _, v := range got {
			all[m.Points[v.Point].Name] = v.Number
		}
		return all
	}
	tests := []struct {
		name   string
		answer regmap.Answer
		want   map[string]float64
	}{
		{"a whole block", regmap.Answer{Table: regmap.Holding, First: 9, Words: registers{0, 1450, 2, 1, 16, 0}}, map[string]float64{"speed": 1450, "hours": 65538, "bit": 1}},
		{"half a value is no value", regmap.Answer{Table: regmap.Holding, First: 10, Words: registers{1450, 2}}, map[string]float64{"speed": 1450}},
		{"the other half neither", regmap.Answer{Table: regmap.Holding, First: 12, Words: registers{1, 16}}, map[string]float64{"bit": 1}},
		{"bits", regmap.Answer{Table: regmap.Coil, First: 8, Bits: []bool{false, false, true}}, map[string]float64{"switch": 1}},
		{"the last address", regmap.Answer{Table: regmap.Input, First: 65535, Words: registers{5}}, map[string]float64{"last": 5}},
		{"bits that end before the switch", regmap.Answer{Table: regmap.Coil, First: 8, Bits: []bool{true, true}}, map[string]float64{}},
		{"another table", regmap.Answer{Table: regmap.Discrete, First: 10, Bits: []bool{true}}, map[string]float64{}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			got := numbers(regmap.NewDecoder(m).Decode(nil, at(0), tt.answer))
			if len(got) != len(tt.want) {
				t.Errorf("values %v, want %v", got, tt.want)
			}
			for name, x := range tt.want {
				if got[name] != x {
					t.Errorf("%s is %v, want %v", name, got[name], x)
				}
			}
		})
	}
}

func TestAReadThatFailedGivesBadValuesAndNoNumber(t *testing.T) {
	m := regmap.Map{Points: []regmap.Point{
		{Name: "in", Table: regmap.Input, Address: 2, Type: regmap.Uint32, Order: regmap.ABCD, Scale: 1},
		{Name: "half in", Table: regmap.Input, Address: 3, Type: regmap.Uint32, Order: regmap.ABCD, Scale: 1},
		{Name: "other table", Table: regmap.Holding, Address: 2, Type: regmap.Uint16, Scale: 1},
	}}
	got := regmap.NewDecoder(m).Fail(nil, regmap.Span{Table: regmap.Input, First: 2, Count: 2}, drivers.Timeout)
	if len(got) != 1 || got[0].Point != 0 || sight(got[0]) != (seen{drivers.Bad, drivers.Timeout}) || !math.IsNaN(got[0].Number) {
		t.Errorf("values %+v", got)
	}
}
