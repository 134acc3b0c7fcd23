package trend

import "math"

// A code is a float32 without its lowest bits, in an order that goes up with
// the value: equal steps are equal shares of the value, not equal amounts.
type code int32

// precision is how many of the 23 bits behind the leading one are left out.
type precision uint8

const (
	measured precision = 11 // right to 2⁻¹³ of the value
	counted  precision = 0  // to 2⁻²⁴
)

// largest is the bits of the largest float32; those of infinity are one more.
const largest = 0x7f7fffff

// code rounds v to the nearest; it never falls when v rises. What is too large
// for a float32 is the largest.
func (p precision) code(v float64) code {
	bits := math.Float32bits(float32(v))
	magnitude := bits &^ (1 << 31)
	magnitude = min((magnitude+1<<p>>1)>>p, largest>>p)
	if bits>>31 == 1 {
		return -code(magnitude)
	}
	return code(magnitude)
}

// value is what code stands for.
func (p precision) value(c code) float64 {
	if c < 0 {
		return -p.value(-c)
	}
	return float64(math.Float32frombits(uint32(c) << p))
}
