package modbus

import (
	"cmp"
	"errors"
	"fmt"
	"slices"
	"time"
)

// A Span is a run of consecutive addresses in one table: one value, or a part
// of the map that cannot be read.
type Span struct {
	First uint16 // zero-based address on the wire
	Count uint16
}

// End returns the address after the last.
func (s Span) End() int { return int(s.First) + int(s.Count) }

// A Block is what one transaction reads.
type Block struct {
	Span
	Wanted []Span // what it was made for; between them may lie addresses nobody asked for
}

// A Plan finds the blocks that read the wanted spans of one table of one unit.
// It is pure; the zero Plan wants nothing.
type Plan struct {
	Table      Table
	Wanted     []Span // each is read in one transaction, so that no value is torn
	Unreadable []Span // no block touches these
	Most       int    // most items in one transaction; zero means Table.Most()

	// Cost returns how long a transaction of count items takes; a gap is
	// bridged when that is cheaper than one more transaction. Nil means
	// that only the number of transactions counts.
	Cost func(count int) time.Duration

	// Cuts are addresses that no block crosses, learned from refusals: a
	// block ends before or begins at a cut. Keep them with the plan, and clear
	// them to try whole blocks again.
	Cuts []uint16
}

// Blocks returns the blocks in order of address: those that cost least, and of
// these the fewest. Spans that repeat, lie within or overlap others are read
// together with them where that is cheapest.
func (p *Plan) Blocks() ([]Block, error) {
	wanted, err := p.ordered()
	if err != nil {
		return nil, err
	}
	// best[i] is the cheapest way to read the first i spans; from[i] is
	// where its last block begins.
	best, from := make([]price, len(wanted)+1), make([]int, len(wanted)+1)
	for i := 1; i <= len(wanted); i++ {
		for j := i - 1; j >= 0; j-- {
			if j < i-1 && !p.joins(wanted[j].First, wanted[i-1]) {
				break // a block that begins still lower does no better
			}
			if all := best[j].and(p.price(wanted[i-1].End() - int(wanted[j].First))); j == i-1 || all.less(best[i]) {
				best[i], from[i] = all, j
			}
		}
	}
	var blocks []Block
	for i := len(wanted); i > 0; i = from[i] {
		blocks = append(blocks, p.block(wanted[from[i]:i]))
	}
	slices.Reverse(blocks)
	return blocks, nil
}

// ordered returns the wanted spans by address, without those inside another.
func (p *Plan) ordered() ([]Span, error) {
	sorted := slices.Clone(p.Wanted)
	slices.SortFunc(sorted, func(a, b Span) int {
		return cmp.Or(cmp.Compare(a.First, b.First), cmp.Compare(b.Count, a.Count))
	})
	var kept []Span
	for _, s := range sorted {
		if err := p.checkSpan(s); err != nil {
			return nil, err
		}
		if len(kept) == 0 || s.End() > kept[len(kept)-1].End() {
			kept = append(kept, s)
		}
	}
	return kept, nil
}

func (p *Plan) checkSpan(s Span) error {
	switch {
	case s.Count < 1 || int(s.Count) > p.most():
		return fmt.Errorf("%d %v from %d on in one value; want 1 to %d", s.Count, p.Table, s.First, p.most())
	case s.End() > 1<<16:
		return fmt.Errorf("%v from %d on: last address %d is above 65535", p.Table, s.First, s.End()-1)
	case p.unreadable(int(s.First), s.End()):
		return fmt.Errorf("%v %d..%d are wanted and declared unreadable", p.Table, s.First, s.End()-1)
	}
	return nil
}

// joins reports whether one block may hold all from the first address to the
// end of the span last.
func (p *Plan) joins(first uint16, last Span) bool {
	crossed := func(cut uint16) bool { return first < cut && int(cut) < last.End() }
	return last.End()-int(first) <= p.most() &&
		!p.unreadable(int(first), last.End()) &&
		!slices.ContainsFunc(p.Cuts, crossed)
}

func (p *Plan) unreadable(first, end int) bool {
	return slices.ContainsFunc(p.Unreadable, func(s Span) bool {
		return int(s.First) < end && first < s.End()
	})
}

func (p *Plan) most() int {
	if p.Most > 0 {
		return min(p.Most, p.Table.Most())
	}
	return p.Table.Most()
}

// block makes one block of spans in order.
func (p *Plan) block(spans []Span) Block {
	first := spans[0].First
	return Block{
		Span:   Span{First: first, Count: uint16(spans[len(spans)-1].End() - int(first))},
		Wanted: spans,
	}
}

// RefusesRange reports whether err is a refusal that smaller blocks may cure.
// A device that is busy or failing refuses too, and means something else.
func RefusesRange(err error) bool {
	return errors.Is(err, IllegalAddress) || errors.Is(err, IllegalValue)
}

// Refused notes that a device refused block b as a whole (see RefusesRange),
// and reports whether it can be read in smaller ones, which Blocks then
// returns. The block is cut at one gap in its middle, or between two values if
// it has no gap; false means that the device refuses a single value.
func (p *Plan) Refused(b Block) bool {
	var gaps, seams []uint16
	for i, s := range b.Wanted[1:] {
		seams = append(seams, s.First)
		if int(s.First) > b.Wanted[i].End() {
			gaps = append(gaps, s.First)
		}
	}
	if len(gaps) > 0 {
		seams = gaps
	}
	if len(seams) == 0 {
		return false
	}
	p.Cuts = append(p.Cuts, seams[len(seams)/2])
	return true
}

// A price is what some blocks cost; the earlier field counts first.
type price struct {
	time   time.Duration
	blocks int
	items  int
}

// price returns what one block of so many items costs.
func (p *Plan) price(items int) price {
	one := price{blocks: 1, items: items}
	if p.Cost != nil {
		one.time = p.Cost(items)
	}
	return one
}

func (a price) and(b price) price {
	return price{a.time + b.time, a.blocks + b.blocks, a.items + b.items}
}

func (a price) less(b price) bool {
	return cmp.Or(cmp.Compare(a.time, b.time), cmp.Compare(a.blocks, b.blocks), cmp.Compare(a.items, b.items)) < 0
}
