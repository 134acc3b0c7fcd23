package quantity_test

import (
	"math"
	"strings"
	"testing"

	"pumpside/drivers/quantity"
)

// Factors: SI brochure (9th ed., 2019) for SI and the minute and hour; the
// international yard and pound (1959) for inch and pound, from memory.
func TestParseConvertsToTheBaseUnit(t *testing.T) {
	tests := []struct {
		text string
		d    quantity.Dimension
		want float64
	}{
		{"10 MPa", quantity.Pressure, 10e6},
		{"1450 psi", quantity.Pressure, 9_997_398.075},
		{"1bar", quantity.Pressure, 1e5},
		{"-30 kPa", quantity.Pressure, -30e3},
		{"25.4 mm", quantity.Length, 0.0254},
		{"500 h", quantity.Duration, 1.8e6},
		{"1 s", quantity.Duration, 1},
		{"212 °F", quantity.Temperature, 100},
		{"-40 F", quantity.Temperature, -40},
		{"1 gpm", quantity.Flow, 6.30901964e-5},
		{"1 gal", quantity.Volume, 3.785411784e-3},
		{"1 hp", quantity.Power, 745.699872},
		{"95 %", quantity.Share, 0.95},
		{"4e-5 1/bar", quantity.Compressible, 4e-10},
		{"3", quantity.None, 3},
	}
	for _, tt := range tests {
		t.Run(tt.text, func(t *testing.T) {
			got, err := quantity.Parse(tt.text, tt.d)
			if err != nil {
				t.Fatal(err)
			}
			if math.Abs(got-tt.want) > 1e-9*math.Max(1, math.Abs(tt.want)) {
				t.Errorf("Parse(%q) = %.10g, want %.10g", tt.text, got, tt.want)
			}
		})
	}
}

func TestParseSaysWhatWouldBeRight(t *testing.T) {
	tests := []struct {
		text string
		d    quantity.Dimension
		want string
	}{
		{"10", quantity.Pressure, `"10" has no unit; a pressure needs one of Pa, hPa,`},
		{"10 mm", quantity.Pressure, `"mm" is a unit of length, but this is a pressure`},
		{"10 mpa", quantity.Pressure, `unit "mpa" is not known; did you mean "MPa"?`},
		{"10 furlong", quantity.Length, `unit "furlong" is not known; a length needs one of m,`},
		{"fast", quantity.Speed, `"fast" is not a speed; write a number with its unit, such as "300 rpm"`},
		{"25,4 mm", quantity.Length, `"25,4 mm" has a comma; write the number with a point, such as "25.4 mm"`},
		{"NaN bar", quantity.Pressure, `"NaN" is not a finite number`},
		{"1e308 MPa", quantity.Pressure, `"1e308 MPa" is too large a number`},
		{"3 bar", quantity.None, `"3 bar" has a unit, but this is a plain number`},
	}
	for _, tt := range tests {
		t.Run(tt.text, func(t *testing.T) {
			_, err := quantity.Parse(tt.text, tt.d)
			if err == nil || !strings.Contains(err.Error(), tt.want) {
				t.Errorf("Parse(%q) error = %v, want %s", tt.text, err, tt.want)
			}
		})
	}
}

func TestEverySymbolMeansOneUnit(t *testing.T) {
	seen := map[string]quantity.Dimension{}
	for d := quantity.Pressure; d <= quantity.Mass; d++ {
		for _, s := range quantity.Symbols(d) {
			if first, ok := seen[s]; ok {
				t.Errorf("%q is a unit of both %v and %v", s, first, d)
			}
			seen[s] = d
			u, _ := quantity.Lookup(s)
			if back := u.FromBase(u.ToBase(7)); math.Abs(back-7) > 1e-9 {
				t.Errorf("%q: 7 comes back as %v", s, back)
			}
		}
		if _, err := quantity.Parse(d.Example(), d); err != nil {
			t.Errorf("example of %v: %v", d, err)
		}
	}
}

func FuzzParse(f *testing.F) {
	f.Add("10 MPa")
	f.Add("4e-5 1/bar")
	f.Fuzz(func(t *testing.T, text string) {
		x, err := quantity.Parse(text, quantity.Pressure)
		if err == nil && (math.IsNaN(x) || math.IsInf(x, 0)) {
			t.Errorf("Parse(%q) = %v with no error", text, x)
		}
	})
}
