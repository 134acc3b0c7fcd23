package orders

import "math"

// A logSum is the sum of the logarithms of numbers, without taking one for
// each: it multiplies their mantissas and adds their exponents. Start it with
// a mantissa of 1.
type logSum struct {
	mantissa float64
	exponent int
}

// add takes a number above 10⁻³⁰⁷.
func (l *logSum) add(x float64) {
	const (
		bits = 52 // of a mantissa
		bias = 1023
	)
	u := math.Float64bits(x)
	l.exponent += int(u>>bits) - bias
	l.mantissa *= math.Float64frombits(u&(1<<bits-1) | bias<<bits) // from 1 to 2
	if l.mantissa > 0x1p500 {
		l.mantissa *= 0x1p-500
		l.exponent += 500
	}
}

func (l *logSum) value() float64 { return math.Log(l.mantissa) + float64(l.exponent)*math.Ln2 }
