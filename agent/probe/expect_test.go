package probe

import (
	"strings"
	"testing"

	"pumpside/drivers/regmap"
)

func TestExpectedValueIsFoundWhereverItStands(t *testing.T) {
	tests := []struct {
		name    string
		expect  string
		base    int
		blocks  []Block
		want    string // table, address, type, order, scale, unit
		remarks string
	}{
		{
			name: "as the manual says", expect: "speed@40103≈1780 rpm", base: 1,
			blocks: []Block{block(100, 0, 0, 1780, 0)}, want: "holding 102 uint16  ×1 rpm",
		},
		{
			name: "one address late, because the manual's numbers are those on the wire", expect: "speed@40102≈1780 rpm", base: 1,
			blocks: []Block{block(100, 0, 5, 1779, 0)}, want: "holding 102 uint16  ×1 rpm",
			remarks: "it stands one address after the manual's: the manual's numbers are those on the wire; use doc_base: 0",
		},
		{
			name: "one address early, because the manual counts from 1", expect: "speed@40103≈1780 rpm", base: 0,
			blocks: []Block{block(100, 0, 3, 1781, 9)}, want: "holding 102 uint16  ×1 rpm",
			remarks: "it stands one address before the manual's: the manual counts from 1 where you said 0; use doc_base: 1",
		},
		{
			name: "in tenths", expect: "speed=1780 rpm", base: 1,
			blocks: []Block{block(0, 17804)}, want: "holding 0 uint16  ×0.1 rpm",
		},
		{
			// IEEE 754: 72.5 is 0x42910000.
			name: "a float with swapped words", expect: "discharge≈72.5 bar", base: 1,
			blocks: []Block{block(20, 0x0000, 0x4291)}, want: "holding 20 float32 CDAB ×1 bar",
			remarks: "its words are swapped (low word first): word_order CDAB, most likely for every value of this device",
		},
		{
			name: "in the device's own unit", expect: "discharge≈1450 psi", base: 1,
			blocks: []Block{block(20, 9997)}, want: "holding 20 uint16  ×0.01 bar",
			remarks: "the register is in bar, your display in psi",
		},
		{
			name: "a temperature, which has an offset between units", expect: "oil≈176 °F", base: 1,
			blocks: []Block{block(3, 800)}, want: "holding 3 uint16  ×0.1 °C",
			remarks: "the register is in °C, your display in °F",
		},
		{
			name: "hours over two registers", expect: "hours≈70512 h ±0.1 %", base: 1,
			blocks: []Block{block(8, 0x0001, 0x1370)}, want: "holding 8 uint32 ABCD ×1 h",
		},
		{
			name: "in tenths of a small value", expect: "current≈7.2 A ±5 %", base: 1,
			blocks: []Block{block(4, 73)}, want: "holding 4 uint16  ×0.1 A",
		},
		{
			name: "nowhere", expect: "speed≈1780 rpm", base: 1,
			blocks: []Block{block(0, 12, 900, 0)}, want: "",
		},
		{
			name: "one count of a small register is too coarse to tell", expect: "flow≈7 L/min", base: 1,
			blocks: []Block{block(0, 7, 0)}, want: "",
		},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			e, err := ParseExpectation(tt.expect, tt.base)
			if err != nil {
				t.Fatal(err)
			}
			found := e.Find(tt.blocks)
			got, remarks := "", ""
			if len(found) > 0 {
				got, remarks = found[0].String(), strings.Join(e.Remarks(&found[0]), "; ")
			}
			if got != tt.want {
				t.Errorf("found %q, want %q", got, tt.want)
			}
			if remarks != tt.remarks {
				t.Errorf("remarks\n got %q\nwant %q", remarks, tt.remarks)
			}
		})
	}
}

func TestExpectationSaysWhatIsWrongWithIt(t *testing.T) {
	tests := []struct{ name, text, want string }{
		{"no value", "speed", `"speed" says no value; write it such as "speed≈1780 rpm"`},
		{"no number", "speed≈fast", `"fast" is no number with a unit; write it such as "1780 rpm"`},
		{"zero", "speed≈0 rpm", "0 stands in too many registers; read speed while it is not 0"},
		{"an unknown unit", "speed≈1780 turns", `unit "turns" of speed is not known; write one such as bar, °C, rpm, L/min, A, kW or h`},
		{"a register that is none", "speed@103≈1780 rpm", `"103" has 3 digits, but a document's number has 5 (40108) or 6 (400108); if it is the address on the wire, write it as address, with a table`},
		{"a width that is none", "speed≈1780 rpm ±5", `"5" after ± is no share; write it such as "±5 %"`},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			_, err := ParseExpectation(tt.text, 1)
			if err == nil || err.Error() != tt.want {
				t.Errorf("error %v, want %s", err, tt.want)
			}
		})
	}
}

func FuzzParseExpectation(f *testing.F) {
	for _, seed := range []string{"speed≈1780 rpm", "a@40001=3", "x~1e3bar ±5 %", "≈", "a≈", "a≈±", "p≈72.5bar"} {
		f.Add(seed, 1)
	}
	f.Fuzz(func(t *testing.T, text string, base int) {
		e, err := ParseExpectation(text, base)
		if err != nil {
			return
		}
		if e.Value == 0 || !(e.Within > 0) {
			t.Errorf("%q gave %+v", text, e)
		}
		for _, found := range e.Find([]Block{block(0, 1, 2, 3, 4)}) {
			if found.Off > e.Within {
				t.Errorf("%q found %v, %v away", text, found, found.Off)
			}
			if found.Table != regmap.Holding {
				t.Errorf("%q found in %v", text, found.Table)
			}
		}
	})
}
