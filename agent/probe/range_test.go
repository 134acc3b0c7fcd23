package probe

import (
	"testing"

	"github.com/google/go-cmp/cmp"

	"pumpside/drivers/modbus"
	"pumpside/drivers/regmap"
)

func TestRangesAreOnTheWireOrAsAManualNumbersThem(t *testing.T) {
	tests := []struct {
		name, text string
		base       int
		want       Range
		err        string
	}{
		{name: "on the wire", text: "holding 0-20", base: 1, want: Range{regmap.Holding, 0, 21}},
		{name: "one address", text: "input 8", base: 1, want: Range{regmap.Input, 8, 1}},
		{name: "hexadecimal", text: "holding 0x64-0x65", base: 1, want: Range{regmap.Holding, 100, 2}},
		{name: "as a manual that counts from 1", text: "40101-40120", base: 1, want: Range{regmap.Holding, 100, 20}},
		{name: "as a manual that counts from 0", text: "30008", base: 0, want: Range{regmap.Input, 8, 1}},
		{name: "bits", text: "coil 0-1999", base: 1, want: Range{regmap.Coil, 0, 2000}},
		{name: "too many at once", text: "holding 0-125", base: 1, err: "0 to 125 are 126 addresses; one request has 1 to 125"},
		{name: "backwards", text: "holding 9-3", base: 1, err: "9 to 3 are -5 addresses; one request has 1 to 125"},
		{name: "two tables", text: "30001-40002", base: 1, err: `"30001-40002" begins in table input and ends in table holding`},
		{name: "no table", text: "12", base: 1, err: `"12" has 2 digits, but a document's number has 5 (40108) or 6 (400108); if it is the address on the wire, write it as address, with a table; with a table it is an address on the wire: "holding 0-20"`},
		{name: "no number", text: "holding first", base: 1, err: `"first" is no address; write 0 to 65535`},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			got, err := ParseRange(tt.text, tt.base)
			if text := errorText(err); text != tt.err {
				t.Fatalf("error %q, want %q", text, tt.err)
			}
			if got != tt.want {
				t.Errorf("got %v, want %v", got, tt.want)
			}
		})
	}
}

func errorText(err error) string {
	if err == nil {
		return ""
	}
	return err.Error()
}

func TestUnitsAreListsAndRanges(t *testing.T) {
	got, err := ParseUnits("1-3,17,2")
	if diff := cmp.Diff([]byte{1, 2, 3, 17}, got); diff != "" || err != nil {
		t.Error(diff, err)
	}
	for _, text := range []string{"", "3-1", "256", "one"} {
		if _, err := ParseUnits(text); err == nil {
			t.Errorf("%q was taken", text)
		}
	}
}

func TestLinesTryEveryParityOfABaudRate(t *testing.T) {
	got, err := ParseLines("19200, 9600", "even,none")
	want := []modbus.Line{
		{Baud: 19200, Parity: modbus.EvenParity, StopBits: 1},
		{Baud: 19200, Parity: modbus.NoParity, StopBits: 2},
		{Baud: 19200, Parity: modbus.NoParity, StopBits: 1},
		{Baud: 9600, Parity: modbus.EvenParity, StopBits: 1},
		{Baud: 9600, Parity: modbus.NoParity, StopBits: 2},
		{Baud: 9600, Parity: modbus.NoParity, StopBits: 1},
	}
	if diff := cmp.Diff(want, got); diff != "" || err != nil {
		t.Error(diff, err)
	}
	if _, err := ParseLines("9601", "even"); err == nil {
		t.Error("9601 baud was taken")
	}
	if _, err := ParseLines("9600", "mark"); err == nil {
		t.Error("mark parity was taken")
	}
}

func TestExpectedValuesNeedNoRange(t *testing.T) {
	e, err := ParseExpectation("speed@40002≈1780 rpm", 1)
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff([]Range{{regmap.Holding, 0, 7}}, RangesAround([]Expectation{e, e, {Name: "flow"}})); diff != "" {
		t.Error(diff)
	}
}

func TestRangesThatMeetAreReadOnce(t *testing.T) {
	tests := []struct {
		name       string
		list, want []Range
	}{
		{"nothing", nil, nil},
		{"apart", []Range{{regmap.Holding, 9, 2}, {regmap.Holding, 0, 3}}, []Range{{regmap.Holding, 0, 3}, {regmap.Holding, 9, 2}}},
		{"overlapping", []Range{{regmap.Holding, 1, 8}, {regmap.Holding, 2, 8}, {regmap.Holding, 4, 8}}, []Range{{regmap.Holding, 1, 11}}},
		{"touching", []Range{{regmap.Input, 0, 3}, {regmap.Input, 3, 1}}, []Range{{regmap.Input, 0, 4}}},
		{"one within another", []Range{{regmap.Input, 0, 9}, {regmap.Input, 3, 1}}, []Range{{regmap.Input, 0, 9}}},
		{"of two tables", []Range{{regmap.Input, 0, 3}, {regmap.Holding, 1, 3}}, []Range{{regmap.Holding, 1, 3}, {regmap.Input, 0, 3}}},
		{"too many for one request", []Range{{regmap.Holding, 0, 120}, {regmap.Holding, 110, 20}}, []Range{{regmap.Holding, 0, 120}, {regmap.Holding, 120, 10}}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			if diff := cmp.Diff(tt.want, Merged(tt.list)); diff != "" {
				t.Error(diff)
			}
		})
	}
}
