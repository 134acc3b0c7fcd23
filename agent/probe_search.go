package main

import (
	"context"
	"fmt"
	"time"

	"pumpside/agent/probe"
	"pumpside/drivers/modbus"
)

// A report is what probe has found; it is printed as text or as JSON.
type report struct {
	Address string        `json:"address"`
	Kind    string        `json:"kind"`
	Line    string        `json:"line,omitempty"` // as 19200 8E1
	Tried   int           `json:"tried"`
	Devices []deviceFound `json:"devices"`
	Finds   []findFound   `json:"expected,omitempty"`
	Draft   string        `json:"draft,omitempty"`
	Hints   []string      `json:"hints,omitempty"`

	settings modbus.Settings
}

// A deviceFound is a unit that answered.
type deviceFound struct {
	Unit           byte            `json:"unit"`
	AnsweredIn     float64         `json:"answered_in_s"`
	Identification []string        `json:"identification,omitempty"`
	Registers      []registerFound `json:"registers,omitempty"`
	Refused        []string        `json:"refused,omitempty"`
	Hints          []string        `json:"hints,omitempty"`

	blocks  []probe.Block
	tally   probe.Tally
	refused []refusal
}

// A registerFound is one address as scripts get it.
type registerFound struct {
	Table     string   `json:"table"`
	Address   uint16   `json:"address"` // zero-based, as on the wire
	Raw       []uint16 `json:"raw"`     // by round
	Plausible []string `json:"plausible"`
}

// A refusal is a range that gave no values, and why.
type refusal struct {
	probe.Range
	why string
}

// A findFound is an expected value and where it stands.
type findFound struct {
	Expected string   `json:"expected"`
	Unit     byte     `json:"unit,omitempty"`
	Places   []string `json:"places"` // likeliest first; empty: nowhere
	Remarks  []string `json:"remarks,omitempty"`

	places   []place
	expected *probe.Expectation
}

// search tries the line settings until one is answered on, and then every unit
// on that one. The bus it gives is nil when nothing answered, and the caller's
// to close otherwise.
func (p *prober) search(ctx context.Context) (*modbus.Bus, error) {
	p.progress.begin()
	defer p.progress.end()
	p.report.Address, p.report.Kind, p.report.Devices = p.lines[0].Address, p.lines[0].Kind.String(), []deviceFound{}
	var silence probe.Tally
	for n, settings := range p.lines {
		bus, err := modbus.Open(settings)
		if err != nil {
			return nil, err
		}
		for i, unit := range p.units {
			p.progress.at(n*len(p.units)+i, len(p.lines)*len(p.units), fmt.Sprintf("%s, unit %d", lineOf(settings), unit))
			p.report.Tried++
			if d, answered := p.knock(ctx, bus, settings, unit, &silence); answered {
				p.report.Devices = append(p.report.Devices, d)
			}
			if ctx.Err() != nil {
				_ = bus.Close()
				return nil, ctx.Err()
			}
		}
		if len(p.report.Devices) > 0 {
			p.report.settings, p.report.Line = settings, lineOf(settings)
			return bus, nil
		}
		_ = bus.Close()
	}
	p.report.Hints = silence.Words()
	return nil, nil
}

// knock asks a unit for its first registers. A refusal is an answer too.
func (p *prober) knock(ctx context.Context, bus *modbus.Bus, settings modbus.Settings, unit byte, silence *probe.Tally) (deviceFound, bool) {
	if settings.Kind != modbus.TCP {
		_ = bus.Settle(ctx) // an old answer may be on the way; the read says what it finds
	}
	began := time.Now()
	_, err := bus.Read(ctx, modbus.Request{Unit: unit, Table: modbus.HoldingRegisters, First: 0, Count: 1})
	silence.Serial, silence.Timeout = settings.Kind != modbus.TCP, p.timeout
	silence.Add(err)
	silence.Late, silence.Slowest = bus.Facts().LateFrame, max(silence.Slowest, bus.UnitFacts(unit).SlowestAnswer)
	if reason := modbus.ReasonOf(err); reason != modbus.None && reason != modbus.Refused {
		return deviceFound{}, false
	}
	d := deviceFound{Unit: unit, AnsweredIn: time.Since(began).Seconds()}
	d.tally.Serial, d.tally.Timeout = silence.Serial, p.timeout
	d.Identification = identify(ctx, bus, unit)
	return d, true
}

// identify gives what a device says of itself; nothing when it does not, as
// most do.
func identify(ctx context.Context, bus *modbus.Bus, unit byte) (texts []string) {
	for _, depth := range []modbus.Depth{modbus.Regular, modbus.Basic} {
		who, err := bus.Identify(ctx, unit, depth, 0)
		if err != nil {
			continue
		}
		for _, id := range who.IDs() {
			texts = append(texts, who[id])
		}
		break
	}
	return texts
}

// lineOf writes a line's settings as people do: 19200 8E1.
func lineOf(s modbus.Settings) string {
	if s.Kind != modbus.RTU {
		return s.Kind.String()
	}
	return fmt.Sprintf("%d 8%c%d", s.Line.Baud, s.Line.Parity, s.Line.StopBits)
}
