package regmap_test

import (
	"testing"

	"pumpside/drivers/regmap"
)

// message is the text of an error; "" for none.
func message(err error) string {
	if err == nil {
		return ""
	}
	return err.Error()
}

func TestParseType(t *testing.T) {
	const runBit = ` is no type; write "run_bit 2" or "run_bit 2 fault 7" with bits from 0 to 15`
	const oneBit = ` is no type; write the bit's number from 0 to 15, such as "bit 3"`
	tests := []struct {
		text string
		want regmap.Type
		err  string
	}{
		{"bool", regmap.Bool, ""},
		{"int16", regmap.Int16, ""},
		{"uint16", regmap.Uint16, ""},
		{"int32", regmap.Int32, ""},
		{"uint32", regmap.Uint32, ""},
		{"int64", regmap.Int64, ""},
		{"uint64", regmap.Uint64, ""},
		{"float32", regmap.Float32, ""},
		{"float64", regmap.Float64, ""},
		{"bcd16", regmap.BCD16, ""},
		{"bcd32", regmap.BCD32, ""},
		{"status_402", regmap.Status402, ""},
		{"status_profidrive", regmap.StatusPROFIdrive, ""},
		{"bit 0", regmap.Bit(0), ""},
		{"bit 15", regmap.Bit(15), ""},
		{"run_bit 2", regmap.RunBit(2), ""},
		{"run_bit 0 fault 15", regmap.RunBitFault(0, 15), ""},
		{"bit", 0, `"bit"` + oneBit},
		{"bit 16", 0, `"bit 16"` + oneBit},
		{"bit -1", 0, `"bit -1"` + oneBit},
		{"run_bit", 0, `"run_bit"` + runBit},
		{"run_bit 16", 0, `"run_bit 16"` + runBit},
		{"run_bit 2 fault", 0, `"run_bit 2 fault"` + runBit},
		{"run_bit 2 fault 2", 0, `"run_bit 2 fault 2"` + runBit},
		{"UINT16", 0, `"UINT16" is no type; did you mean "uint16"?`},
		{"float", 0, `"float" is no type; did you mean "float32"?`},
		{"word", 0, `"word" is no type; did you mean "uint16"?`},
		{"string", 0, `"string" is no type; use one of bool, int16, uint16, int32, uint32, int64, uint64, float32, float64, bcd16, bcd32, status_402, status_profidrive, bit 3, run_bit 2, run_bit 2 fault 7`},
	}
	for _, tt := range tests {
		t.Run(tt.text, func(t *testing.T) {
			got, err := regmap.ParseType(tt.text)
			if got != tt.want || message(err) != tt.err {
				t.Fatalf("= %v, %q; want %v, %q", got, message(err), tt.want, tt.err)
			}
			if err == nil && got.String() != tt.text {
				t.Errorf("comes back as %q", got)
			}
		})
	}
}

func TestWordsOfTheConfiguration(t *testing.T) {
	tests := []struct {
		text  string
		parse func(string) (any, error)
		want  any
		err   string
	}{
		{"coil", table, regmap.Coil, ""},
		{"discrete", table, regmap.Discrete, ""},
		{"input", table, regmap.Input, ""},
		{"holding", table, regmap.Holding, ""},
		{"Holding", table, regmap.NoTable, `"Holding" is no table; did you mean "holding"?`},
		{"input_registers", table, regmap.NoTable, `"input_registers" is no table; did you mean "input"?`},
		{"", table, regmap.NoTable, `"" is no table; use one of coil, discrete, holding, input`},
		{"ABCD", order, regmap.ABCD, ""},
		{"CDAB", order, regmap.CDAB, ""},
		{"BADC", order, regmap.BADC, ""},
		{"DCBA", order, regmap.DCBA, ""},
		{"cdab", order, regmap.NoOrder, `"cdab" is no word order; did you mean "CDAB"?`},
		{"little_endian", order, regmap.NoOrder, `"little_endian" is no word order; did you mean "DCBA"?`},
		{"BCDA", order, regmap.NoOrder, `"BCDA" is no word order; use one of ABCD, CDAB, BADC, DCBA`},
		{"routine", class, regmap.Routine, ""},
		{"slow", class, regmap.Slow, ""},
		{"fast", class, regmap.Fast, ""},
		{"quick", class, regmap.Routine, `"quick" is no read class; use one of routine, slow, fast`},
	}
	for _, tt := range tests {
		t.Run(tt.text, func(t *testing.T) {
			got, err := tt.parse(tt.text)
			if got != tt.want || message(err) != tt.err {
				t.Errorf("= %v, %q; want %v, %q", got, message(err), tt.want, tt.err)
			}
		})
	}
}

func table(text string) (any, error) { return regmap.ParseTable(text) }
func order(text string) (any, error) { return regmap.ParseWordOrder(text) }
func class(text string) (any, error) { return regmap.ParseReadClass(text) }

func TestParsePattern(t *testing.T) {
	tests := []struct {
		text string
		typ  regmap.Type
		want uint64
		err  string
	}{
		{"0x8000", regmap.Int16, 0x8000, ""},
		{"-32768", regmap.Int16, 0x8000, ""},
		{"-1", regmap.Int32, 0xFFFFFFFF, ""},
		{"-1", regmap.Int64, 0xFFFFFFFFFFFFFFFF, ""},
		{"65535", regmap.Uint16, 0xFFFF, ""},
		{"0XFFFFFFFFFFFFFFFF", regmap.Uint64, 0xFFFFFFFFFFFFFFFF, ""},
		{"9999", regmap.BCD16, 0x9999, ""},
		{"0xFFFF", regmap.BCD16, 0xFFFF, ""},
		{"-9999.0", regmap.Float32, 0xC61C3C00, ""},
		{"-2.5", regmap.Float64, 0xC004000000000000, ""},
		{"0xFFFF", regmap.Bit(3), 0xFFFF, ""},
		{"0x18000", regmap.Int16, 0, `"0x18000" is not a pattern of 16 bits, the size of int16; write up to 4 hexadecimal digits`},
		{"0xZZ", regmap.Int16, 0, `"0xZZ" is not a pattern of 16 bits, the size of int16; write up to 4 hexadecimal digits`},
		{"40000", regmap.Int16, 0, `"40000" is not a number int16 can hold; write one, or the raw bits such as "0x8000"`},
		{"-1", regmap.Uint16, 0, `"-1" is not a number uint16 can hold; write one, or the raw bits such as "0x8000"`},
		{"12345", regmap.BCD16, 0, `"12345" is not a number bcd16 can hold; write one, or the raw bits such as "0x8000"`},
		{"9A", regmap.BCD16, 0, `"9A" is not a number bcd16 can hold; write one, or the raw bits such as "0x8000"`},
		{"none", regmap.Float32, 0, `"none" is not a number float32 can hold; write one, or the raw bits such as "0x8000"`},
	}
	for _, tt := range tests {
		t.Run(tt.text+" of "+tt.typ.String(), func(t *testing.T) {
			got, err := regmap.ParsePattern(tt.text, tt.typ)
			if got != tt.want || message(err) != tt.err {
				t.Errorf("= 0x%X, %q; want 0x%X, %q", got, message(err), tt.want, tt.err)
			}
		})
	}
}

// The numbering of documents is a habit, not part of the protocol: common
// practice, no source.
func TestParseDocAddress(t *testing.T) {
	tests := []struct {
		text    string
		base    int
		table   regmap.Table
		address uint16
		err     string
	}{
		{"40001", 1, regmap.Holding, 0, ""},
		{"40108", 1, regmap.Holding, 107, ""},
		{"40108", 0, regmap.Holding, 108, ""},
		{"40000", 0, regmap.Holding, 0, ""},
		{"49999", 1, regmap.Holding, 9998, ""},
		{"400001", 1, regmap.Holding, 0, ""},
		{"465536", 1, regmap.Holding, 65535, ""},
		{"465535", 0, regmap.Holding, 65535, ""},
		{"30007", 1, regmap.Input, 6, ""},
		{"310001", 1, regmap.Input, 10000, ""},
		{"10001", 1, regmap.Discrete, 0, ""},
		{"00017", 1, regmap.Coil, 16, ""},
		{"000017", 1, regmap.Coil, 16, ""},
		{"40000", 1, 0, 0, `"40000" is before the first holding register, which with base 1 ends in 1; if the document counts from "40000", write base 0`},
		{"465536", 0, 0, 0, `"465536" is past the last holding register, 465535 with base 0`},
		{"499999", 1, 0, 0, `"499999" is past the last holding register, 465536 with base 1`},
		{"108", 1, 0, 0, `"108" has 3 digits, but a document's number has 5 (40108) or 6 (400108); if it is the address on the wire, write it as address, with a table`},
		{"20001", 1, 0, 0, `"20001" begins with 2; documents begin with 0 for a coil, 1 for a discrete input, 3 for an input register, 4 for a holding register`},
		{"4x108", 1, 0, 0, `"4x108" is no register number; write one as documents print it, such as 40108`},
		{"-40001", 1, 0, 0, `"-40001" is no register number; write one as documents print it, such as 40108`},
		{"40108", 40001, 0, 0, "base 40001 is neither 0 nor 1: write 1 when the document's first holding register is 40001, 0 when it is 40000"},
	}
	for _, tt := range tests {
		t.Run(tt.text, func(t *testing.T) {
			table, address, err := regmap.ParseDocAddress(tt.text, tt.base)
			if table != tt.table || address != tt.address || message(err) != tt.err {
				t.Errorf("= %v %d, %q; want %v %d, %q", table, address, message(err), tt.table, tt.address, tt.err)
			}
		})
	}
}

func TestAddressesCopiedFromADocumentAreSuspected(t *testing.T) {
	tests := []struct {
		table   regmap.Table
		address uint16
		want    bool
	}{
		{regmap.Holding, 40108, true},
		{regmap.Holding, 40000, false},
		{regmap.Holding, 107, false},
		{regmap.Holding, 30001, false},
		{regmap.Input, 30001, true},
		{regmap.Discrete, 10001, true},
		{regmap.Coil, 17, false},
	}
	for _, tt := range tests {
		if got := regmap.LooksLikeDoc(tt.table, tt.address); got != tt.want {
			t.Errorf("%v %d: %v", tt.table, tt.address, got)
		}
	}
}

func TestSpans(t *testing.T) {
	block := regmap.Span{Table: regmap.Holding, First: 10, Count: 4}
	if got := block.String(); got != "holding 10..13" {
		t.Errorf("block is %q", got)
	}
	for inside, want := range map[regmap.Span]bool{
		block: true,
		{Table: regmap.Holding, First: 13, Count: 1}: true,
		{Table: regmap.Holding, First: 13, Count: 2}: false,
		{Table: regmap.Holding, First: 9, Count: 2}:  false,
		{Table: regmap.Input, First: 10, Count: 1}:   false,
	} {
		if block.Contains(inside) != want {
			t.Errorf("%v contains %v: %v", block, inside, !want)
		}
	}
}

func FuzzParseType(f *testing.F) {
	f.Add("bit 3")
	f.Add("run_bit 2 fault 7")
	f.Add("float32")
	f.Fuzz(func(t *testing.T, text string) {
		typ, err := regmap.ParseType(text)
		if err != nil {
			return
		}
		if back, err := regmap.ParseType(typ.String()); back != typ || err != nil {
			t.Errorf("%q is %v and comes back as %v, %v", text, typ, back, err)
		}
	})
}

func FuzzParseDocAddress(f *testing.F) {
	f.Add("40108", 1)
	f.Add("465535", 0)
	f.Fuzz(func(t *testing.T, text string, base int) {
		table, _, err := regmap.ParseDocAddress(text, base)
		if (err == nil) != (table != regmap.NoTable) {
			t.Errorf("%q, base %d: %v, %v", text, base, table, err)
		}
	})
}
