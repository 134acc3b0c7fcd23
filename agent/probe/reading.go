package probe

import (
	"math"

	"pumpside/drivers/regmap"
)

// A Cell is one address with the word that was read there in each round.
type Cell struct {
	Table   regmap.Table
	Address uint16   // zero-based, as on the wire
	Rounds  []uint16 // oldest first; a bit is 0 or 1
}

// A Block is neighbouring cells of one table, in the order of their addresses.
type Block []Cell

// A Reading is one way to read the registers from a cell on.
type Reading struct {
	Type   regmap.Type
	Order  regmap.WordOrder // NoOrder for one register
	Values []float64        // raw numbers by round; NaN: no number
	Steady bool             // moved little between rounds, and is no all-zeros or all-ones
}

// forms is every way to read one, two and four registers that gives a number.
var forms = [...]struct {
	of     []regmap.Type
	orders []regmap.WordOrder
}{
	{[]regmap.Type{regmap.Uint16, regmap.Int16}, []regmap.WordOrder{regmap.NoOrder, regmap.BADC}},
	{[]regmap.Type{regmap.BCD16}, []regmap.WordOrder{regmap.NoOrder}},
	{[]regmap.Type{regmap.Uint32, regmap.Int32, regmap.Float32}, everyOrder},
	{[]regmap.Type{regmap.BCD32}, []regmap.WordOrder{regmap.ABCD, regmap.CDAB}},
	{[]regmap.Type{regmap.Uint64, regmap.Int64, regmap.Float64}, everyOrder},
}

var everyOrder = []regmap.WordOrder{regmap.ABCD, regmap.CDAB, regmap.BADC, regmap.DCBA}

// Readings gives every way to read the registers from the i-th cell of b on
// that fits into b. A bit has one.
func Readings(b Block, i int) []Reading {
	if b[i].Table.HasBits() {
		return []Reading{read(b, i, regmap.Bool, regmap.NoOrder)}
	}
	var list []Reading
	for _, f := range forms {
		for _, t := range f.of {
			for _, o := range f.orders {
				if i+t.Registers() <= len(b) {
					list = append(list, read(b, i, t, o))
				}
			}
		}
	}
	return list
}

func read(b Block, i int, t regmap.Type, o regmap.WordOrder) Reading {
	r := Reading{Type: t, Order: o}
	p := regmap.Point{Type: t, Order: o, Scale: 1}
	words := make([]uint16, t.Registers())
	for round := range b[i].Rounds {
		for k := range words {
			words[k] = b[i+k].Rounds[round]
		}
		r.Values = append(r.Values, p.Decode(words).Number)
	}
	r.Steady = t != regmap.Bool && isSteady(r.Values) && !isBlank(b[i:i+t.Registers()])
	return r
}

// Last gives the newest value; NaN when there is none.
func (r *Reading) Last() float64 {
	if len(r.Values) == 0 {
		return math.NaN()
	}
	return r.Values[len(r.Values)-1]
}

// endsEmpty reports whether r is a whole number whose lower half is empty: a
// narrow number with an unused register after it, not a wide one.
func (r *Reading) endsEmpty() bool {
	if r.Type.Registers() == 1 || r.Type == regmap.Float32 || r.Type == regmap.Float64 {
		return false
	}
	half := 1 << 16
	if r.Type == regmap.BCD32 {
		half = 10000
	}
	return math.Mod(r.Last(), float64(half)) == 0
}

// saysNoMore reports whether r is a signed number that is not negative: the
// unsigned one of the same bits says the same.
func (r *Reading) saysNoMore() bool {
	return (r.Type == regmap.Int16 || r.Type == regmap.Int32 || r.Type == regmap.Int64) && r.Last() >= 0
}

// What a measured value does between two looks a second apart, and what
// numbers people meet in a plant (common practice, no source).
const (
	mostMove  = 0.10 // part of the largest value
	leastSize = 1e-6 // a float beside it is bits of something else
	mostSize  = 1e10
)

func isSteady(values []float64) bool {
	low, high := math.Inf(1), math.Inf(-1)
	for _, x := range values {
		if math.IsNaN(x) || math.IsInf(x, 0) || x != 0 && (math.Abs(x) < leastSize || math.Abs(x) > mostSize) {
			return false
		}
		low, high = min(low, x), max(high, x)
	}
	size := max(math.Abs(low), math.Abs(high))
	return len(values) > 0 && high-low <= max(1, mostMove*size)
}

// isBlank reports whether nothing but zeros or nothing but ones ever stood in
// the cells: true of every unused register, and of no measurement for long.
func isBlank(cells []Cell) bool {
	zeros, ones := true, true
	for _, c := range cells {
		for _, w := range c.Rounds {
			zeros = zeros && w == 0
			ones = ones && w == 0xFFFF
		}
	}
	return zeros || ones
}
