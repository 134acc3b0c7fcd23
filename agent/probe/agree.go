package probe

import (
	"cmp"
	"math"
	"slices"

	"pumpside/drivers/regmap"
)

// widestShift is how many addresses a manual's numbers are looked for beside
// where they should be.
const widestShift = 2

// Agree sets how far a device stands from its manual: the shift on which most
// of the expected values agree. A manual that is one off is so for every value,
// and a single value alone may seem to stand one address before its place, by
// the words of its neighbour. found has the device's finds of each expectation.
func Agree(expected []Expectation, found [][]Find) {
	var votes votes
	for i := range expected {
		for shift := range votes {
			if slices.ContainsFunc(expected[i].plainest(found[i]), func(f Find) bool { return expected[i].shiftOf(&f) == shift-widestShift }) {
				votes[shift]++
			}
		}
	}
	best := votes.best()
	for i := range found {
		for k := range found[i] {
			found[i][k].Shift, found[i][k].proven = best, votes[best+widestShift] > 1
		}
	}
}

// plainest are the finds that are hardly odder than the least odd one: the same
// value over two registers, the upper one empty, does not speak for its place.
func (e *Expectation) plainest(found []Find) []Find {
	const hardly = 0.4
	odd := func(f *Find) float64 { return e.oddness(f) - f.Off/e.Within }
	least := math.Inf(1)
	for i := range found {
		least = min(least, odd(&found[i]))
	}
	return slices.DeleteFunc(slices.Clone(found), func(f Find) bool { return odd(&f) > least+hardly })
}

// votes counts expected values found by how far they stand from the manual, -2
// to 2 addresses.
type votes [2*widestShift + 1]int

// best is the shift with most votes; among equals the smallest.
func (v *votes) best() int {
	shifts := []int{0, 1, -1, 2, -2}
	return slices.MaxFunc(shifts, func(a, b int) int {
		return cmp.Or(cmp.Compare(v[a+widestShift], v[b+widestShift]), cmp.Compare(slices.Index(shifts, b), slices.Index(shifts, a)))
	})
}

// shiftOf is how many addresses after the manual's f stands; more than
// widestShift where the manual says nothing, or has it in another table.
func (e *Expectation) shiftOf(f *Find) int {
	if e.Table == regmap.NoTable || f.Table != e.Table {
		return widestShift + 1
	}
	return int(f.Address) - int(e.Address)
}

// Rivals is how many of the finds, likeliest first, cannot be told apart: all,
// unless several values agree on where the manual's numbers stand.
func (e *Expectation) Rivals(found []Find) int {
	const clear = 1.5 // of strangeness: less than one address, or bytes swapped and another scale
	if len(found) < 2 || e.Table == regmap.NoTable || !found[0].proven {
		return len(found)
	}
	for n := range found {
		if e.strangeness(&found[n]) > e.strangeness(&found[0])+clear {
			return n
		}
	}
	return len(found)
}
