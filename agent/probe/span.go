package probe

import (
	"fmt"
	"math"
	"strings"

	"pumpside/drivers/quantity"
	"pumpside/drivers/regmap"
)

// A Span is how an analog input counts from the lower to the upper end of what
// a transmitter measures.
type Span struct {
	Low, High float64 // raw numbers at the two ends
	// MilliAmpere is what one count is worth where the input counts a current
	// of 4 to 20 mA; 0 where it counts the range itself.
	MilliAmpere float64
}

// usualSpans are those of analog input modules, likeliest first (common
// practice, no source).
var usualSpans = []Span{
	{4000, 20000, 1e-3},
	{0, 4095, 0},
	{0, 27648, 0},
	{0, 10000, 0},
	{0, 32767, 0},
	{0, 65535, 0},
	{4, 20, 1},
	{400, 2000, 1e-2},
	{0.2 * 4095, 4095, 20.0 / 4095},
	{0.2 * 27648, 27648, 20.0 / 27648},
	{0.2 * 10000, 10000, 20.0 / 10000},
	{0.2 * 32767, 32767, 20.0 / 32767},
	{0.2 * 65535, 65535, 20.0 / 65535},
}

// String says what the counts are.
func (s Span) String() string {
	if s.MilliAmpere > 0 {
		return fmt.Sprintf("4–20 mA, one count is %.4g mA", s.MilliAmpere)
	}
	return fmt.Sprintf("counts of %g to %g", s.Low, s.High)
}

// ends reads the measuring range at the end of a value, such as
// "70 bar of 0 to 100 bar", and gives the value without it.
func (e *Expectation) ends(text string) (value string, err error) {
	value, ends, given := strings.Cut(text, " of ")
	if !given {
		return text, nil
	}
	from, to, both := strings.Cut(ends, " to ")
	if !both {
		return "", fmt.Errorf("%q after of is no measuring range; write it such as %q", ends, "of 0 to 100 bar")
	}
	if e.High, e.Unit, err = numberWithUnit(strings.TrimSpace(to), e.Name); err != nil {
		return "", err
	}
	low, unit, err := numberWithUnit(strings.TrimSpace(from), e.Name)
	if err == nil && unit != e.Unit && unit != plain || err == nil && low == e.High {
		err = fmt.Errorf("%q is no measuring range: write both ends, unlike, in one unit, such as %q", ends, "0 to 100 bar")
	}
	e.Low, e.Spanned = low, true
	return value, err
}

// spans finds the usual span in which the raw number is the expected value.
func (e *Expectation) spans(c *Cell, r Reading) (Find, bool) {
	if r.Type.Registers() > 1 && r.Type != regmap.Float32 || r.Type == regmap.BCD16 || r.Order == regmap.BADC || r.Order == regmap.DCBA {
		return Find{}, false
	}
	isFloat := r.Type == regmap.Float32
	for i := range usualSpans {
		s := &usualSpans[i]
		if isFloat != (s.MilliAmpere == 1) {
			continue // a module that sends floats sends mA
		}
		f := Find{Table: c.Table, Address: c.Address, Reading: r, Scale: (e.High - e.Low) / (s.High - s.Low), Unit: e.Unit, Span: s}
		f.Offset = e.Low - s.Low*f.Scale
		if f.Off = math.Abs(f.value(r.Last())-e.Value) / math.Abs(e.Value); f.Off <= e.Within {
			return f, true
		}
	}
	return Find{}, false
}

// spanKeys are the keys of a point whose register counts a span.
func (f *Find) spanKeys(e *Expectation) []string {
	if f.Span.MilliAmpere > 0 {
		return []string{
			fmt.Sprintf("scale: %.9g", f.Span.MilliAmpere),
			fmt.Sprintf("loop: [%g %s, %g %s]", e.Low, e.Unit.Symbol, e.High, e.Unit.Symbol),
		}
	}
	keys := []string{fmt.Sprintf("scale: %.9g", f.Scale)}
	if f.Offset != 0 {
		keys = append(keys, fmt.Sprintf("offset: %g", f.Offset))
	}
	return append(keys, unitKey(f.Unit))
}

func unitKey(u quantity.Unit) string { return fmt.Sprintf("unit: %q", u.Symbol) }
