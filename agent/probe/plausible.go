package probe

import (
	"cmp"
	"math"
	"slices"

	"pumpside/drivers/quantity"
	"pumpside/drivers/regmap"
)

// ranges are values met at a glycol pump skid, in base units (common practice,
// no source): what is outside is not plausible for that unit.
var ranges = map[quantity.Dimension]struct{ low, high float64 }{
	quantity.Pressure:    {-1e5, 40e6},
	quantity.Temperature: {-60, 250},
	quantity.Flow:        {-0.01, 0.1},
	quantity.Speed:       {-4000, 4000},
	quantity.Frequency:   {0, 400},
	quantity.Current:     {0, 1000},
	quantity.Torque:      {-5000, 5000},
	quantity.Power:       {-1e6, 1e6},
	quantity.Share:       {-0.1, 1.5},
	quantity.Duration:    {0, 50 * 365.25 * 86400},
	quantity.Volume:      {0, 1e8},
	quantity.Energy:      {0, 1e15},
}

// InRange reports whether raw can be a value in u at a pump skid. The zero
// Unit takes every number.
func InRange(raw float64, u quantity.Unit) bool {
	r, known := ranges[u.Dimension]
	if !known {
		return !math.IsNaN(raw)
	}
	x := u.ToBase(raw)
	return r.low <= x && x <= r.high
}

// Plausible picks the readings that are steady and in range for u, likeliest
// first: fewer registers and whole numbers first, but a float that came out
// round at a size people use beats a whole number that is huge.
func Plausible(all []Reading, u quantity.Unit) []Reading {
	list := slices.Clone(all)
	list = slices.DeleteFunc(list, func(r Reading) bool { return !r.Steady || !InRange(r.Last(), u) || r.saysNoMore() })
	slices.SortStableFunc(list, func(a, b Reading) int { return cmp.Compare(oddness(&a), oddness(&b)) })
	return list
}

// oddness grows with what is unusual in a reading.
func oddness(r *Reading) float64 {
	x := math.Abs(r.Last())
	odd := 0.0
	switch {
	case r.Type == regmap.Float32 || r.Type == regmap.Float64:
		if x < 1e-3 || x > 1e6 {
			odd += 4
		} else {
			odd -= 2 // few random bits are a float of that size
		}
	case x > 1e6:
		odd += 3
	}
	odd += float64(r.Type.Registers()) / 2
	switch r.Order {
	case regmap.CDAB:
		odd += 0.1
	case regmap.BADC, regmap.DCBA:
		odd++
	}
	if r.Type == regmap.BCD16 || r.Type == regmap.BCD32 {
		odd += 3
	}
	return odd
}

// plain is the unit of a value of which nothing is known.
var plain quantity.Unit
