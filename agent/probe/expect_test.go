package probe

import (
	"slices"
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
			blocks: []Block{block(100, 0, 0, 1780, 0)}, want: "holding 102 int16  ×1 rpm",
		},
		{
			name: "one address late, because the manual's numbers are those on the wire", expect: "speed@40102≈1780 rpm", base: 1,
			blocks: []Block{block(100, 0, 5, 1779, 0)}, want: "holding 102 int16  ×1 rpm",
			remarks: "it stands one address after the manual's: the manual's numbers are those on the wire; use doc_base: 0",
		},
		{
			name: "one address early, because the manual counts from 1", expect: "speed@40103≈1780 rpm", base: 0,
			blocks: []Block{block(100, 0, 3, 1781, 9)}, want: "holding 102 int16  ×1 rpm",
			remarks: "it stands one address before the manual's: the manual counts from 1 where you said 0; use doc_base: 1",
		},
		{
			name: "in tenths", expect: "speed=1780 rpm", base: 1,
			blocks: []Block{block(0, 17804)}, want: "holding 0 int16  ×0.1 rpm",
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
			blocks: []Block{block(3, 800)}, want: "holding 3 int16  ×0.1 °C",
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
			// 4 + 16·0.5 mA
			name: "a current in µA of a known range", expect: "discharge@30001≈80 bar of 0 to 160 bar", base: 1,
			blocks: []Block{inputs(0, 12003)}, want: "input 0 uint16 4–20 mA, one count is 0.001 mA",
			remarks: "its 4–20 mA, one count is 0.001 mA fit the value and the range; a second value at another discharge proves it",
		},
		{
			name: "twelve bits of a range that begins below zero", expect: "suction@30001≈1 bar of -1 to 4 bar", base: 1,
			blocks: []Block{inputs(0, 1640)}, want: "input 0 uint16 counts of 0 to 4095",
			remarks: "its counts of 0 to 4095 fit the value and the range; a second value at another suction proves it",
		},
		{
			name: "a drive's status word", expect: "status=running", base: 1,
			blocks: []Block{block(9, 0x0637)}, want: "holding 9 status_402",
		},
		{
			name: "a drive that stands is not running", expect: "status=running", base: 1,
			blocks: []Block{block(9, 0x0631)}, want: "",
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

// inputs are input registers.
func inputs(first uint16, words ...uint16) Block {
	b := block(first, words...)
	for i := range b {
		b[i].Table = regmap.Input
	}
	return b
}

// A flow as a float at 203 and 204, with a counter before it: read from 202 on
// with swapped words it is nearly the same number, and there the manual has it.
func TestValuesAgreeHowFarTheManualIsOff(t *testing.T) {
	device := []Block{inputs(201, 1640, 0x0139, 0x41B1, 0xEEFD, 0, 0, 801)}
	var expected []Expectation
	for _, text := range []string{"flow@30203≈22 L/min", "temperature@30207≈80 °C"} {
		e, err := ParseExpectation(text, 1)
		if err != nil {
			t.Fatal(err)
		}
		expected = append(expected, e)
	}
	find := func(n int) [][]Find {
		var found [][]Find
		for i := range expected[:n] {
			found = append(found, expected[i].Find(device))
		}
		Agree(expected[:n], found)
		for i := range found {
			slices.SortStableFunc(found[i], func(a, b Find) int { return expected[i].Compare(&a, &b) })
		}
		return found
	}
	both := find(2)
	if got, want := both[0][0].String(), "input 203 float32 ABCD ×1 L/min"; got != want || expected[0].Rivals(both[0]) != 1 {
		t.Errorf("flow is %s with %d rival(s), want %s alone", got, expected[0].Rivals(both[0]), want)
	}
	alone := find(1)
	if n := expected[0].Rivals(alone[0]); n < 2 {
		t.Errorf("one value alone has %d place(s), want to hear of others", n)
	}
}

func TestExpectationSaysWhatIsWrongWithIt(t *testing.T) {
	tests := []struct{ name, text, want string }{
		{"no value", "speed", `"speed" says no value; write it such as "speed≈1780 rpm"`},
		{"no number", "speed≈fast", `"fast" is no number with a unit; write it such as "1780 rpm"`},
		{"zero", "speed≈0 rpm", "0 stands in too many registers; read speed while it is not 0"},
		{"an unknown unit", "speed≈1780 turns", `unit "turns" of speed is not known; write one such as bar, °C, rpm, L/min, A, kW or h`},
		{"a register that is none", "speed@103≈1780 rpm", `"103" has 3 digits, but a document's number has 5 (40108) or 6 (400108); if it is the address on the wire, write it as address, with a table`},
		{"a range that is none", "p≈70 bar of 100", `"100" after of is no measuring range; write it such as "of 0 to 100 bar"`},
		{"a range without width", "p≈70 bar of 100 to 100 bar", `"100 to 100 bar" is no measuring range: write both ends, unlike, in one unit, such as "0 to 100 bar"`},
		{"a value outside its range", "p≈70 bar of 0 to 60 bar", `"70 bar" does not lie between 0 and 60 bar, its measuring range; write it such as "70 bar of 0 to 100 bar"`},
		{"a contact nobody says where", "demand=on", `on is in too many places; say where the manual has demand, a coil or discrete input: "demand@10001=on"`},
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
	for _, seed := range []string{"speed≈1780 rpm", "a@40001=3", "x~1e3bar ±5 %", "≈", "a≈", "a≈±", "p≈72.5bar", "p≈7 bar of 0 to 10 bar ±1 %", "s=running", "s@10001=off"} {
		f.Add(seed, 1)
	}
	f.Fuzz(func(t *testing.T, text string, base int) {
		e, err := ParseExpectation(text, base)
		if err != nil {
			return
		}
		if e.Value == 0 && !e.Switch && e.State == 0 || !(e.Within > 0) {
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
