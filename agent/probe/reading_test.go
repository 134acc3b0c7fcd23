package probe

import (
	"math"
	"testing"

	"github.com/google/go-cmp/cmp"

	"pumpside/drivers/quantity"
	"pumpside/drivers/regmap"
)

// block is registers from first on, the same in every round.
func block(first uint16, words ...uint16) Block {
	var b Block
	for i, w := range words {
		b = append(b, Cell{Table: regmap.Holding, Address: first + uint16(i), Rounds: []uint16{w, w}})
	}
	return b
}

func TestReadingsShowEveryTypeAndWordOrder(t *testing.T) {
	// IEEE 754: 25.0 is 0x41C80000.
	got := map[string]float64{}
	for _, r := range Readings(block(0, 0x41C8, 0x0000), 0) {
		got[r.Type.String()+" "+r.Order.String()] = r.Last()
	}
	want := map[string]float64{
		"uint16 ": 0x41C8, "int16 ": 0x41C8, "uint16 BADC": 0xC841, "int16 BADC": 0xC841 - 65536, "bcd16 ": math.NaN(),
		"uint32 ABCD": 0x41C80000, "int32 ABCD": 0x41C80000, "uint32 CDAB": 0x41C8, "int32 CDAB": 0x41C8,
		"uint32 BADC": 0xC8410000, "int32 BADC": 0xC8410000 - 1<<32, "uint32 DCBA": 0xC841, "int32 DCBA": 0xC841,
		"float32 ABCD": 25, "float32 CDAB": float64(math.Float32frombits(0x41C8)), "float32 BADC": float64(math.Float32frombits(0xC8410000)), "float32 DCBA": float64(math.Float32frombits(0xC841)),
		"bcd32 ABCD": math.NaN(), "bcd32 CDAB": math.NaN(),
	}
	if d := cmp.Diff(want, got, cmp.Comparer(func(a, b float64) bool { return a == b || math.IsNaN(a) && math.IsNaN(b) })); d != "" {
		t.Error(d)
	}
}

func TestWideReadingsEndWithTheBlock(t *testing.T) {
	for _, tt := range []struct {
		name  string
		at    int
		wants int
	}{
		{"four registers left: one, two and four wide", 0, 5 + 14 + 12},
		{"two left", 2, 5 + 14},
		{"one left", 3, 5},
	} {
		t.Run(tt.name, func(t *testing.T) {
			if got := len(Readings(block(0, 1, 2, 3, 4), tt.at)); got != tt.wants {
				t.Errorf("%d readings, want %d", got, tt.wants)
			}
		})
	}
}

func TestPlausibleReadingsComeLikeliestFirst(t *testing.T) {
	bar, _ := quantity.Lookup("bar")
	celsius, _ := quantity.Lookup("°C")
	tests := []struct {
		name  string
		block Block
		unit  quantity.Unit
		want  string // "" for none
	}{
		{"a float of a useful size beats its upper word as a number", block(0, 0x41C8, 0x0000), quantity.Unit{}, "float32 ABCD"},
		{"so does one with swapped words", block(0, 0x3333, 0x41CB), celsius, "float32 CDAB"},
		{"a small whole number is a small whole number", block(0, 72, 0), bar, "uint16 "},
		{"an unused register is nothing", block(0, 0, 0), quantity.Unit{}, ""},
		{"nor is one of all ones", block(0, 0xFFFF), quantity.Unit{}, ""},
		{"a register that jumps about is no measurement", Block{{Table: regmap.Holding, Rounds: []uint16{100, 40000, 7}}}, quantity.Unit{}, ""},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			got := ""
			if list := Plausible(Readings(tt.block, 0), tt.unit); len(list) > 0 {
				got = list[0].Type.String() + " " + list[0].Order.String()
			}
			if got != tt.want {
				t.Errorf("likeliest %q, want %q", got, tt.want)
			}
		})
	}
}

func TestABitHasOneReading(t *testing.T) {
	b := Block{{Table: regmap.Coil, Rounds: []uint16{1}}}
	if got := Readings(b, 0); len(got) != 1 || got[0].Last() != 1 {
		t.Errorf("readings %v, want one of 1", got)
	}
}
