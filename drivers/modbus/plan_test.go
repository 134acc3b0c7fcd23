package modbus

import (
	"slices"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"
)

// cost9600 is the wire time of registers at 9600 baud, 8E1.
func cost9600(count int) time.Duration {
	s := Settings{Kind: RTU, Line: line9600}
	return s.WireTime(HoldingRegisters, count)
}

func spansOf(blocks []Block) (spans []Span) {
	for _, b := range blocks {
		spans = append(spans, b.Span)
	}
	return spans
}

func TestPlanBlocks(t *testing.T) {
	t.Parallel()
	tests := []struct {
		name string
		plan Plan
		want []Span
	}{
		{"nothing wanted, nothing read", Plan{}, nil},
		{"neighbours share a transaction", Plan{Wanted: []Span{{10, 2}, {12, 1}}}, []Span{{10, 3}}},
		{"order and repetition do not matter", Plan{Wanted: []Span{{12, 1}, {10, 2}, {12, 1}}}, []Span{{10, 3}}},
		{"a bit inside a word that is read anyway", Plan{Wanted: []Span{{10, 4}, {11, 1}}}, []Span{{10, 4}}},
		// One more transaction at 9600 baud costs 13 characters and three
		// times t3.5, 26.9 ms; a register costs 2.29 ms: 11 are cheaper, 12 are not.
		{"a gap of 11 registers is bridged at 9600 baud", Plan{Cost: cost9600, Wanted: []Span{{0, 1}, {12, 1}}}, []Span{{0, 13}}},
		{"a gap of 12 registers is not", Plan{Cost: cost9600, Wanted: []Span{{0, 1}, {13, 1}}}, []Span{{0, 1}, {13, 1}}},
		{"125 registers fit", Plan{Wanted: []Span{{0, 1}, {124, 1}}}, []Span{{0, 125}}},
		{"126 do not", Plan{Wanted: []Span{{0, 1}, {125, 1}}}, []Span{{0, 1}, {125, 1}}},
		{"2000 coils fit", Plan{Table: Coils, Wanted: []Span{{0, 1}, {1999, 1}}}, []Span{{0, 2000}}},
		{"a device's own limit holds", Plan{Most: 10, Wanted: []Span{{0, 6}, {6, 5}}}, []Span{{0, 6}, {6, 5}}},
		{"a value is not torn at the limit", Plan{Most: 4, Wanted: []Span{{0, 2}, {2, 1}, {3, 2}}}, []Span{{0, 3}, {3, 2}}},
		{"unreadable registers are not bridged", Plan{Wanted: []Span{{0, 1}, {3, 1}}, Unreadable: []Span{{2, 1}}}, []Span{{0, 1}, {3, 1}}},
		{"a cut is not crossed", Plan{Wanted: []Span{{0, 1}, {1, 1}, {2, 1}}, Cuts: []uint16{2}}, []Span{{0, 2}, {2, 1}}},
		{"the last address is 65535", Plan{Wanted: []Span{{65535, 1}}}, []Span{{65535, 1}}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			if tt.plan.Table == 0 {
				tt.plan.Table = HoldingRegisters
			}
			blocks, err := tt.plan.Blocks()
			if err != nil {
				t.Fatal(err)
			}
			if diff := cmp.Diff(tt.want, spansOf(blocks)); diff != "" {
				t.Errorf("blocks (-want +got):\n%s", diff)
			}
		})
	}
}

func TestPlanRefusesWhatCannotBeRead(t *testing.T) {
	t.Parallel()
	tests := []struct {
		name string
		plan Plan
		want string
	}{
		{"value of no registers", Plan{Wanted: []Span{{5, 0}}}, "0 holding registers from 5 on in one value; want 1 to 125"},
		{"value longer than a transaction", Plan{Wanted: []Span{{5, 126}}}, "126 holding registers from 5 on in one value; want 1 to 125"},
		{"value past the last address", Plan{Wanted: []Span{{65535, 2}}}, "holding registers from 65535 on: last address 65536 is above 65535"},
		{"value declared unreadable", Plan{Wanted: []Span{{5, 2}}, Unreadable: []Span{{6, 1}}}, "holding registers 5..6 are wanted and declared unreadable"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			tt.plan.Table = HoldingRegisters
			if _, err := tt.plan.Blocks(); err == nil || err.Error() != tt.want {
				t.Errorf("error\n got %v\nwant %s", err, tt.want)
			}
		})
	}
}

func TestRefusedBlockIsCutUntilTheDeviceAnswers(t *testing.T) {
	t.Parallel()
	// The device has a hole at address 6 that its map does not tell of.
	p := Plan{Table: HoldingRegisters, Wanted: []Span{{0, 1}, {2, 1}, {4, 1}, {8, 1}, {10, 1}}}
	for range 10 {
		blocks, err := p.Blocks()
		if err != nil {
			t.Fatal(err)
		}
		bad := slices.IndexFunc(blocks, func(b Block) bool { return b.First <= 6 && b.End() > 6 })
		if bad < 0 {
			if diff := cmp.Diff([]Span{{0, 5}, {8, 3}}, spansOf(blocks)); diff != "" {
				t.Errorf("blocks (-want +got):\n%s", diff)
			}
			return
		}
		if !p.Refused(blocks[bad]) {
			t.Fatalf("block %v cannot be cut", blocks[bad])
		}
	}
	t.Fatal("ten refusals did not find a hole")
}

func TestRefusedSingleValueCannotBeCut(t *testing.T) {
	t.Parallel()
	p := Plan{Table: HoldingRegisters, Wanted: []Span{{0, 2}}}
	blocks, err := p.Blocks()
	if err != nil {
		t.Fatal(err)
	}
	if p.Refused(blocks[0]) || len(p.Cuts) > 0 {
		t.Error("a single value was cut")
	}
}

// drawPlan makes a small map with everything in it.
func drawPlan(t *rapid.T) Plan {
	span := func(most uint16) *rapid.Generator[Span] {
		return rapid.Custom(func(t *rapid.T) Span {
			return Span{rapid.Uint16Range(0, 30).Draw(t, "first"), rapid.Uint16Range(1, most).Draw(t, "count")}
		})
	}
	p := Plan{
		Table:      HoldingRegisters,
		Unreadable: rapid.SliceOfN(span(3), 0, 2).Draw(t, "unreadable"),
		Most:       rapid.IntRange(4, 40).Draw(t, "most"),
	}
	transaction := rapid.IntRange(0, 12).Draw(t, "registers that cost as much as a transaction")
	p.Cost = func(count int) time.Duration { return time.Duration(transaction + count) }
	for _, s := range rapid.SliceOfN(span(4), 0, 6).Draw(t, "wanted") {
		if !p.unreadable(int(s.First), s.End()) {
			p.Wanted = append(p.Wanted, s)
		}
	}
	return p
}

// cheapest tries every way to share the wanted spans among blocks.
func cheapest(p *Plan, spans []Span, groups [][]Span) (best price, found bool) {
	if len(spans) == 0 {
		var all price
		for _, g := range groups {
			first, end := g[0].First, 0
			for _, s := range g {
				first, end = min(first, s.First), max(end, s.End())
			}
			if end-int(first) > p.Most || p.unreadable(int(first), end) {
				return price{}, false
			}
			all = all.and(p.price(end - int(first)))
		}
		return all, true
	}
	try := func(g [][]Span) {
		if c, ok := cheapest(p, spans[1:], g); ok && (!found || c.less(best)) {
			best, found = c, true
		}
	}
	for i := range groups {
		with := slices.Clone(groups)
		with[i] = append(slices.Clone(groups[i]), spans[0])
		try(with)
	}
	try(append(slices.Clone(groups), []Span{spans[0]}))
	return best, found
}

func TestPlanIsAsCheapAsTheBestOfAllPlans(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		p := drawPlan(t)
		blocks, err := p.Blocks()
		if err != nil {
			t.Fatal(err)
		}
		var cost price
		for _, b := range blocks {
			cost = cost.and(p.price(int(b.Count)))
			if int(b.Count) > p.Most || p.unreadable(int(b.First), b.End()) {
				t.Fatalf("block %v breaks the plan's limits", b)
			}
		}
		for _, w := range p.Wanted {
			covers := func(b Block) bool { return b.First <= w.First && w.End() <= b.End() }
			if !slices.ContainsFunc(blocks, covers) {
				t.Fatalf("no block reads %v", w)
			}
		}
		want, _ := cheapest(&p, p.Wanted, nil)
		if cost != want {
			t.Fatalf("plan costs %+v, the best %+v", cost, want)
		}
	})
}

func TestRefusalsEndInSingleValues(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		p := drawPlan(t)
		for refusals := 0; ; refusals++ {
			blocks, err := p.Blocks()
			if err != nil || refusals > len(p.Wanted) {
				t.Fatalf("%d refusals, error %v", refusals, err)
			}
			joined := slices.IndexFunc(blocks, func(b Block) bool { return len(b.Wanted) > 1 })
			if joined < 0 {
				return
			}
			if !p.Refused(blocks[joined]) {
				t.Fatalf("block %v cannot be cut", blocks[joined])
			}
		}
	})
}

func TestOnlyRefusalsOfTheRangeCutABlock(t *testing.T) {
	t.Parallel()
	cuts := map[Exception]bool{IllegalAddress: true, IllegalValue: true}
	for e := range Exception(12) {
		if got := RefusesRange(&RangeError{Err: e}); got != cuts[e] {
			t.Errorf("%v may be cured by smaller blocks: %v, want %v", e, got, cuts[e])
		}
	}
	if RefusesRange(nil) || RefusesRange(faultf(Timeout, "x")) {
		t.Error("what is no refusal cuts a block")
	}
}
