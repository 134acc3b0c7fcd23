package main

import (
	"fmt"
	"io"
	"strings"

	"pumpside/agent/probe"
	"pumpside/drivers/quantity"
	"pumpside/drivers/regmap"
)

// tell prints the report for people.
func (p *prober) tell() {
	r := &p.report
	if len(r.Devices) == 0 {
		fmt.Fprintf(p.out, "%s: nothing answered; %d combination(s) of line setting and unit were tried\n", r.Address, r.Tried)
		hints(p.out, r.Hints)
		return
	}
	fmt.Fprintf(p.out, "%s, %s: %d device(s) answered\n", r.Address, r.Line, len(r.Devices))
	for i := range r.Devices {
		p.tellDevice(&r.Devices[i])
	}
	for _, f := range r.Finds {
		tellFind(p.out, f)
	}
	if r.Draft != "" {
		fmt.Fprintf(p.out, "\n%s was written; what is missing in it: pumpside check --config %s\n", r.Draft, r.Draft)
	}
}

func (p *prober) tellDevice(d *deviceFound) {
	fmt.Fprintf(p.out, "\nunit %d answered in %.0f ms", d.Unit, 1e3*d.AnsweredIn)
	if len(d.Identification) > 0 {
		fmt.Fprintf(p.out, "; it says of itself: %q", d.Identification)
	}
	fmt.Fprintln(p.out)
	if len(d.blocks) > 0 {
		_ = printed(p.out, false, nil, func(w io.Writer) { p.tellCells(w, d.blocks) })
	}
	for _, refused := range d.Refused {
		fmt.Fprintf(p.out, "not readable: %s\n", refused)
	}
	hints(p.out, d.Hints)
}

// tellCells prints a line for each address: raw, and what it can be. A star
// marks what is plausible, likeliest first.
func (p *prober) tellCells(w io.Writer, blocks []probe.Block) {
	fmt.Fprintln(w, "TABLE\tADDRESS\tMANUAL\tRAW\tREADS AS (* plausible, likeliest first)")
	for _, b := range blocks {
		for i := range b {
			c := &b[i]
			all := probe.Readings(b, i)
			fmt.Fprintf(w, "%v\t%d\t%s\t0x%04X\t%s\n", c.Table, c.Address, manualNumber(c.Table, c.Address, p.base), c.Rounds[len(c.Rounds)-1], p.meanings(all))
		}
	}
}

// mostMeanings is how many plausible readings fit on a line.
const mostMeanings = 3

func (p *prober) meanings(all []probe.Reading) string {
	var parts []string
	likely := probe.Plausible(all, quantity.Unit{})
	for i := range likely[:min(len(likely), mostMeanings)] {
		parts = append(parts, "* "+meaning(&likely[i]))
	}
	switch {
	case p.all:
		for i := range all {
			parts = append(parts, meaning(&all[i]))
		}
	case len(parts) == 0:
		parts = append(parts, meaning(&all[0]))
	}
	return strings.Join(parts, ", ")
}

func meaning(r *probe.Reading) string {
	order := ""
	if r.Order != regmap.NoOrder {
		order = " " + r.Order.String()
	}
	return fmt.Sprintf("%.7g as %v%s", r.Last(), r.Type, order)
}

// manualNumber is an address as a manual prints it.
func manualNumber(t regmap.Table, address uint16, base int) string {
	first := map[regmap.Table]int{regmap.Coil: 0, regmap.Discrete: 1, regmap.Input: 3, regmap.Holding: 4}[t]
	if n := int(address) + base; n > 9999 {
		return fmt.Sprintf("%d%05d", first, n)
	}
	return fmt.Sprintf("%d%04d", first, int(address)+base)
}

func tellFind(w io.Writer, f findFound) {
	if len(f.Places) == 0 {
		fmt.Fprintf(w, "\n%s stands nowhere in what was read: read more, or look at the display again and give ± if it moves\n", f.Expected)
		return
	}
	fmt.Fprintf(w, "\n%s is %s\n", f.Expected, f.Places[0])
	for _, remark := range f.Remarks {
		fmt.Fprintf(w, "  %s\n", remark)
	}
	if len(f.Places) > 1 {
		fmt.Fprintf(w, "  or, less likely: %s\n  one more value at another speed or pressure tells them apart\n", strings.Join(f.Places[1:], "; "))
	}
}

func hints(w io.Writer, list []string) {
	for _, hint := range list {
		fmt.Fprintf(w, "  > %s\n", hint)
	}
}
