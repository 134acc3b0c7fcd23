package main

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"pumpside/agent/probe"
	"pumpside/drivers/modbus"
)

// watchAll reads every block again and again and shows what comes, until ctx
// or the time for it ends. It closes with rate, jitter and faults of each
// device.
func (p *prober) watchAll(ctx context.Context, bus *modbus.Bus) {
	fmt.Fprintln(p.out, "\nwatching; stop with Ctrl-C")
	began := time.Now()
	watched := make([]watch, len(p.report.Devices))
	for beat := began; ctx.Err() == nil && (p.watchFor == 0 || beat.Sub(began) < p.watchFor); beat = beat.Add(p.every) {
		wait(ctx, time.Until(beat))
		for i := range p.report.Devices {
			if ctx.Err() == nil && len(p.report.Devices[i].blocks) > 0 {
				watched[i].once(ctx, p, bus, &p.report.Devices[i], time.Since(began))
			}
		}
	}
	for i := range p.report.Devices {
		if watched[i].tally.Reads == 0 {
			continue
		}
		watched[i].end(p, bus, &p.report.Devices[i])
	}
}

// A watch is what was seen of one device while it was watched.
type watch struct {
	tally  probe.Tally
	rhythm probe.Rhythm
}

// once reads every block of a device and prints a line.
func (w *watch) once(ctx context.Context, p *prober, bus *modbus.Bus, d *deviceFound, since time.Duration) {
	var words []uint16
	var failed error
	for _, b := range d.blocks {
		for part := range slices.Chunk(b, mostAtOnce(b[0].Table)) {
			a, err := bus.Read(ctx, modbus.Request{Unit: d.Unit, Table: modbus.Table(part[0].Table), First: part[0].Address, Count: uint16(len(part))})
			if ctx.Err() != nil {
				return
			}
			w.tally.Add(err)
			if err != nil {
				failed = err
				continue
			}
			for i, word := range wordsOfAnswer(a) {
				part[i].Rounds = append(part[i].Rounds[:0], word)
				words = append(words, word)
			}
		}
	}
	if failed != nil {
		fmt.Fprintf(p.out, "%7.1f s  unit %d  %v\n", since.Seconds(), d.Unit, unwrapped(failed))
		return
	}
	w.rhythm.Add(time.Now(), words)
	fmt.Fprintf(p.out, "%7.1f s  unit %d  %s\n", since.Seconds(), d.Unit, p.values(d))
}

// values gives what was named, or all the raw words when nothing was.
func (p *prober) values(d *deviceFound) string {
	var parts []string
	for _, f := range p.report.Finds {
		if f.Unit == d.Unit && len(f.places) > 0 {
			best := &f.places[0]
			if x, ok := best.Now(d.blocks); ok {
				parts = append(parts, f.expected.Name+" "+f.expected.Words(x, best.Unit))
			}
		}
	}
	if len(parts) > 0 {
		return strings.Join(parts, "  ")
	}
	for _, b := range d.blocks {
		for _, c := range b {
			parts = append(parts, fmt.Sprintf("%d:%d", c.Address, c.Rounds[len(c.Rounds)-1]))
		}
	}
	return strings.Join(parts, " ")
}

// end sums up.
func (w *watch) end(p *prober, bus *modbus.Bus, d *deviceFound) {
	facts := bus.UnitFacts(d.Unit)
	w.tally.Serial, w.tally.Timeout = d.tally.Serial, p.timeout
	w.tally.Late, w.tally.Slowest = bus.Facts().LateFrame, facts.SlowestAnswer
	fmt.Fprintf(p.out, "\nunit %d: %d read(s), %d failed; %.2f rounds a second, jitter %v; slowest answer %v\n",
		d.Unit, w.tally.Reads, w.tally.Failed(), w.rhythm.Rate(), w.rhythm.Jitter().Round(10*time.Microsecond), facts.SlowestAnswer.Round(10*time.Microsecond))
	if renewal := w.rhythm.Renewal(); renewal > 0 {
		fmt.Fprintf(p.out, "  its values change about every %v\n", renewal.Round(time.Millisecond))
	}
	for _, reason := range modbus.Reasons() {
		if n := w.tally.Faults[reason]; n > 0 {
			fmt.Fprintf(p.out, "  %v: %d\n", reason, n)
		}
	}
	hints(p.out, w.tally.Words())
}
