package condition

import (
	"math"

	"pumpside/drivers/quantity"
	"pumpside/rules/pump"
)

// An Operating point is what the pump is doing while it is watched. A
// temperature that is not measured is [None].
type Operating struct {
	Speed    quantity.RevolutionsPerMinute // of the pump's shaft
	Pressure quantity.Pascals              // at the discharge, mean
	Glycol   quantity.Celsius
	Oil      quantity.Celsius // behind the diaphragms
}

// None is a temperature that is not measured.
var None = quantity.Celsius(math.NaN())

// A Band is a range of operating points that share one baseline, as the number
// of the range in each direction.
type Band struct {
	Speed    int `json:"speed"`
	Pressure int `json:"pressure"`
	Glycol   int `json:"glycol"`
	Oil      int `json:"oil"`
}

// Unmeasured is the number of the range of a temperature that is not measured.
const Unmeasured = -1000

// Bands are the widths of the ranges.
type Bands struct {
	Speed    quantity.RevolutionsPerMinute
	Pressure quantity.Pascals
	Glycol   quantity.Celsius
	Oil      quantity.Celsius
}

// DefaultBands are 5 % of rated speed, 10 % of rated pressure, and 15 K: over
// 15 K the viscosity of glycol halves (common practice, no source).
func DefaultBands(g pump.Geometry) Bands {
	return Bands{Speed: g.RatedSpeed / 20, Pressure: g.RatedPressure / 10, Glycol: 15, Oil: 15}
}

// Of is the band of an operating point. Ranges are centred on multiples of
// their width, so that rated speed is not on an edge.
func (b Bands) Of(o Operating) Band {
	return Band{
		Speed:    rangeOf(float64(o.Speed), float64(b.Speed)),
		Pressure: rangeOf(float64(o.Pressure), float64(b.Pressure)),
		Glycol:   rangeOf(float64(o.Glycol), float64(b.Glycol)),
		Oil:      rangeOf(float64(o.Oil), float64(b.Oil)),
	}
}

// A Place is where in its band an operating point lies, in widths from the
// middle of each range: speed, pressure, glycol, oil. It is 0 in a direction
// that is not measured.
type Place [4]float64

// Place gives where in a band an operating point lies.
func (b Bands) Place(o Operating, band Band) Place {
	off := func(x, width float64, middle int) float64 {
		if rangeOf(x, width) == Unmeasured {
			return 0
		}
		return x/width - float64(middle)
	}
	return Place{
		off(float64(o.Speed), float64(b.Speed), band.Speed),
		off(float64(o.Pressure), float64(b.Pressure), band.Pressure),
		off(float64(o.Glycol), float64(b.Glycol), band.Glycol),
		off(float64(o.Oil), float64(b.Oil), band.Oil),
	}
}

// rounded is p to a thousandth of a width, which is finer than any sensor and
// short to store.
func (p Place) rounded() Place {
	for i := range p {
		p[i] = math.Round(1000*p[i]) / 1000
	}
	return p
}

func (p Place) minus(q Place) Place {
	for i := range p {
		p[i] -= q[i]
	}
	return p
}

func rangeOf(x, width float64) int {
	if math.IsNaN(x) || !(width > 0) {
		return Unmeasured
	}
	return int(math.Round(x / width))
}
