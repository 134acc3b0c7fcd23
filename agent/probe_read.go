package main

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"pumpside/agent/probe"
	"pumpside/drivers/modbus"
	"pumpside/drivers/quantity"
	"pumpside/drivers/regmap"
)

// read reads the ranges of a device, round after round. What it refuses is
// left out from the second round on.
func (p *prober) read(ctx context.Context, bus *modbus.Bus, d *deviceFound) {
	if len(p.ranges) == 0 {
		return
	}
	p.progress.begin()
	defer p.progress.end()
	for _, r := range p.ranges {
		p.progress.at(len(d.blocks), len(p.ranges), r.String())
		d.blocks = append(d.blocks, p.readable(ctx, bus, d, r)...)
	}
	if len(p.asked) > 0 || len(d.blocks) == 0 { // else what was refused are addresses around those that were asked for
		d.Refused = refusals(d.refused)
	} else {
		delete(d.tally.Refusals, modbus.IllegalAddress)
	}
	for round := 1; round < p.rounds && ctx.Err() == nil; round++ {
		wait(ctx, p.every)
		p.progress.at(round, p.rounds, fmt.Sprintf("unit %d", d.Unit))
		d.blocks = p.again(ctx, bus, d)
	}
	d.tally.Late, d.tally.Slowest = bus.Facts().LateFrame, bus.UnitFacts(d.Unit).SlowestAnswer
	d.Hints = d.tally.Words()
	d.Registers = registersOf(d.blocks)
}

// registersOf writes blocks down for scripts.
func registersOf(blocks []probe.Block) (list []registerFound) {
	for _, b := range blocks {
		for i, c := range b {
			r := registerFound{Table: c.Table.String(), Address: c.Address, Raw: c.Rounds, Plausible: []string{}}
			likely := probe.Plausible(probe.Readings(b, i), quantity.Unit{})
			for k := range likely {
				r.Plausible = append(r.Plausible, meaning(&likely[k]))
			}
			list = append(list, r)
		}
	}
	return list
}

func wait(ctx context.Context, d time.Duration) {
	select {
	case <-ctx.Done():
	case <-time.After(d):
	}
}

// tries is how often a read that failed is asked again: while a line is being
// looked at, one broken frame should not hide a register.
const tries = 3

func (p *prober) ask(ctx context.Context, bus *modbus.Bus, d *deviceFound, r probe.Range) (words []uint16, err error) {
	for range tries {
		if p.report.settings.Kind != modbus.TCP && err != nil {
			_ = bus.Settle(ctx)
		}
		var a modbus.Answer
		a, err = bus.Read(ctx, modbus.Request{Unit: d.Unit, Table: modbus.Table(r.Table), First: r.First, Count: r.Count})
		d.tally.Add(err)
		if reason := modbus.ReasonOf(err); reason == modbus.None || reason == modbus.Refused || ctx.Err() != nil {
			return wordsOfAnswer(a), err
		}
	}
	return nil, err
}

// wordsOfAnswer gives the words of an answer; a bit becomes 0 or 1.
func wordsOfAnswer(a modbus.Answer) []uint16 {
	words := a.Words
	for _, bit := range a.Bits {
		word := uint16(0)
		if bit {
			word = 1
		}
		words = append(words, word)
	}
	return words
}

// readable reads r once, and where the device refuses it, its halves: a range
// may span registers that are not there.
func (p *prober) readable(ctx context.Context, bus *modbus.Bus, d *deviceFound, r probe.Range) []probe.Block {
	words, err := p.ask(ctx, bus, d, r)
	switch {
	case err == nil:
		b := make(probe.Block, len(words))
		for i, w := range words {
			b[i] = probe.Cell{Table: r.Table, Address: r.First + uint16(i), Rounds: []uint16{w}}
		}
		return []probe.Block{b}
	case r.Count > 1 && modbus.RefusesRange(err):
		first, second := r.Halves()
		return meeting(p.readable(ctx, bus, d, first), p.readable(ctx, bus, d, second))
	}
	d.refused = append(d.refused, refusal{r, unwrapped(err).Error()})
	return nil
}

// refusals writes down what could not be read, neighbours of one kind together.
func refusals(list []refusal) (texts []string) {
	for i := 0; i < len(list); {
		all := list[i]
		for i++; i < len(list) && list[i].why == all.why && list[i].Table == all.Table && list[i].First == all.First+all.Count; i++ {
			all.Count += list[i].Count
		}
		texts = append(texts, fmt.Sprintf("%v: %s", all.Range, all.why))
	}
	return texts
}

// unwrapped leaves out the range, which stands before it already.
func unwrapped(err error) error {
	if e, is := errors.AsType[*modbus.RangeError](err); is {
		return e.Err
	}
	return err
}

// meeting appends lists of blocks; two that meet become one, so that a value
// over the seam is seen.
func meeting(a, b []probe.Block) []probe.Block {
	if len(a) == 0 || len(b) == 0 {
		return append(a, b...)
	}
	last, next := a[len(a)-1], b[0]
	if end := last[len(last)-1]; end.Table == next[0].Table && end.Address+1 == next[0].Address {
		a[len(a)-1] = append(last, next...)
		b = b[1:]
	}
	return append(a, b...)
}

// again reads every block once more. One that fails keeps what it has shown.
func (p *prober) again(ctx context.Context, bus *modbus.Bus, d *deviceFound) []probe.Block {
	for _, b := range d.blocks {
		for from := 0; from < len(b); from += mostAtOnce(b[0].Table) {
			part := b[from:min(len(b), from+mostAtOnce(b[0].Table))]
			words, err := p.ask(ctx, bus, d, probe.Range{Table: b[0].Table, First: part[0].Address, Count: uint16(len(part))})
			for i := range part {
				if err != nil {
					words = append(words, part[i].Rounds[len(part[i].Rounds)-1])
				}
				part[i].Rounds = append(part[i].Rounds, words[i])
			}
		}
	}
	return d.blocks
}

func mostAtOnce(t regmap.Table) int { return modbus.Table(t).Most() }

// find looks for the expected values on every device, and reports whether one
// is nowhere.
func (p *prober) find() (missed bool) {
	places := p.places()
	for i := range p.expects {
		e := &p.expects[i]
		f := findFound{Expected: e.String(), Places: []string{}, places: places[i], expected: e}
		slices.SortStableFunc(f.places, func(a, b place) int { return e.Compare(&a.Find, &b.Find) })
		f.places = f.places[:e.Rivals(findsOf(f.places))]
		for _, at := range f.places[:min(len(f.places), mostPlaces)] {
			f.Places = append(f.Places, at.String())
		}
		if len(f.places) > 0 {
			f.Unit, f.Remarks = f.places[0].unit, e.Remarks(&f.places[0].Find)
		}
		missed = missed || len(f.places) == 0
		p.report.Finds = append(p.report.Finds, f)
	}
	return missed
}

func findsOf(places []place) (list []probe.Find) {
	for _, p := range places {
		list = append(list, p.Find)
	}
	return list
}

// places finds each expected value on every device, with how far each device
// stands from its manual.
func (p *prober) places() [][]place {
	places := make([][]place, len(p.expects))
	for _, d := range p.report.Devices {
		found := make([][]probe.Find, len(p.expects))
		for i := range p.expects {
			found[i] = p.expects[i].Find(d.blocks)
		}
		probe.Agree(p.expects, found)
		for i := range found {
			for _, one := range found[i] {
				places[i] = append(places[i], place{d.Unit, one})
			}
		}
	}
	return places
}

// mostPlaces is how many places of one value are worth telling.
const mostPlaces = 4

// A place is where an expected value may stand.
type place struct {
	unit byte
	probe.Find
}

func (p place) String() string { return fmt.Sprintf("unit %d %v", p.unit, &p.Find) }
