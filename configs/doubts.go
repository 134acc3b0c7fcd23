package configs

import (
	"strconv"
	"strings"

	"pumpside/drivers"
	"pumpside/drivers/quantity"
	"pumpside/drivers/regmap"
)

// What is allowed, and most often a slip: each doubt is a note at its place,
// with the reason and what would be right.

// doubtLoop looks at a 4–20 mA input: its current comes in steps that show
// something, and more current is nearly always more of the value.
func (l *loader) doubtLoop(here *place, p *regmap.Point) {
	const span, coarse = 16.0, 0.05 // mA; with a coarser count the span has less than 320
	if !p.Loop.Given() {
		return
	}
	if p.Loop.Low > p.Loop.High {
		low, high := showIn(p.Unit, p.Loop.Low), showIn(p.Unit, p.Loop.High)
		l.note(here.child("loop"), "gives %s at 4 mA and %s at 20 mA, the wrong way round for most transmitters: [%s, %s] would be usual; keep it if the transmitter is set so", low, high, high, low)
	}
	if isWhole(p.Type) && p.Scale >= coarse {
		l.note(orHere(l, here, "scale"), "makes one count %g mA, %.0f counts from 4 to 20 mA: raw × scale is the current in mA, and a module that counts µA needs scale: 0.001", p.Scale, span/p.Scale)
	}
}

// isWhole reports whether the registers hold a whole number, which needs a
// scale to be a current.
func isWhole(t regmap.Type) bool { return t != regmap.Float32 && t != regmap.Float64 }

// showIn writes a value in base units in the unit people gave.
func showIn(u quantity.Unit, base float64) string {
	return strconv.FormatFloat(u.FromBase(base), 'g', 6, 64) + " " + u.Symbol
}

// doubtDocument looks at how a manual's numbers are written: five and six
// digits in one device, and six digits that would count from zero.
func (l *loader) doubtDocument(device *place, f *deviceFile) {
	first := map[int]string{} // number by its digits
	for j := range f.Points {
		doc, here := f.Points[j].Doc, device.child("points").item(j).child("doc")
		other, mixed := first[11-len(doc)]
		switch {
		case len(doc) == 6 && f.DocBase == 0:
			l.note(here, "%s has six digits, which count from 1 in most manuals (400001 is address 0), but doc_base is 0: this reads address %s; pumpside probe --expect tells which is right", doc, wireOf(doc, 0))
			return
		case mixed:
			l.note(here, "%s has %d digits, %s above it %d: this reads address %s on the wire; is it meant so?", doc, len(doc), other, len(other), wireOf(doc, f.DocBase))
			return
		case first[len(doc)] == "":
			first[len(doc)] = doc
		}
	}
}

func wireOf(doc string, base int) string {
	table, address, err := regmap.ParseDocAddress(doc, base)
	if err != nil {
		return "none"
	}
	return table.String() + " " + strconv.Itoa(int(address))
}

// doubtAlone looks for pumps that were left out of the groups: a site with
// several has a duty and a standby somewhere.
func (l *loader) doubtAlone(pumps []*pumpLoader) {
	var alone []string
	var first *place
	for _, p := range pumps {
		if p.grouped {
			continue
		}
		if first == nil {
			first = p.here
		}
		alone = append(alone, p.file.ID)
	}
	if len(alone) == 0 || len(pumps) < 2 {
		return
	}
	l.note(first, "%s in no group: nobody is told that circulation is lost or how the standby stands, and a duty pump that trips calls people although the standby runs; list the pumps that share one circulation, such as groups: [{id: north, pumps: [%s]}]; one that works alone is a group of its own",
		areIs(alone), strings.Join(alone, ", "))
}

// areIs is a list of names with its verb.
func areIs(names []string) string {
	if len(names) == 1 {
		return names[0] + " is"
	}
	return strings.Join(names[:len(names)-1], ", ") + " and " + names[len(names)-1] + " are"
}

// doubtIndex knows that one pulse among several in a turn tells no angle.
func (p *pumpLoader) doubtIndex() {
	x := &p.pump.Geometry.Index
	if x.Present() && !x.Once() && x.AngleKnown {
		p.note(p.here.child("index_angle"), "is of no use with %d pulses a turn: they tell speed and revolutions, and no finding can name a cylinder; that needs exactly one pulse a turn", p.file.Pulses)
	}
}

// doubtSpeeds holds motor, ratio and pump against each other.
func (p *pumpLoader) doubtSpeeds() {
	g := &p.pump.Geometry
	if g.Ratio <= 0 || g.RatedSpeed <= 0 || g.MotorRatedSpeed <= 0 {
		return
	}
	const over, under = 1.05, 0.6 // a pump is often run below its most, never above
	turns := g.PumpSpeed(g.MotorRatedSpeed)
	switch part := turns / g.RatedSpeed; {
	case part > over:
		p.note(p.here.child("rated_speed"), "is %v rpm, but the motor's rated %v rpm over ratio %v turns the pump at %.0f rpm: is ratio %.3g, or does the drive hold the motor to %.0f rpm?",
			float64(g.RatedSpeed), float64(g.MotorRatedSpeed), float64(g.Ratio), float64(turns), float64(g.MotorRatedSpeed/g.RatedSpeed), float64(g.RatedSpeed)*float64(g.Ratio))
	case part < under:
		p.note(p.here.child("ratio"), "is %v, with which the motor's rated %v rpm turns the pump at %.0f rpm, far below its rated %v rpm: a ratio of %.3g would reach it",
			float64(g.Ratio), float64(g.MotorRatedSpeed), float64(turns), float64(g.RatedSpeed), float64(g.MotorRatedSpeed/g.RatedSpeed))
	}
	p.doubtPoles()
}

// doubtSize holds what the plungers sweep at the rated speed against the range
// of the flow meter, which is chosen for it: a bore ten times too large sweeps a
// hundred times as much. A meter of a header has room for several pumps.
func (p *pumpLoader) doubtSize() {
	ref, measured := p.point[drivers.GlycolFlow]
	g := &p.pump.Geometry
	if !measured || g.Validate() != nil {
		return
	}
	const over, under = 1.5, 0.1
	point := &p.config.Devices[ref.device].Map.Points[ref.point]
	top := max(point.Loop.High, point.Loop.Low)
	if top == 0 {
		top = point.Valid.High
	}
	swept := float64(g.DisplacementPerRevolution()) * float64(g.RatedSpeed) / 60
	if part := swept / top; top > 0 && (part > over || part < under) {
		p.note(p.here.child("bore"), "and stroke sweep %s at %v rpm, but the flow meter's range ends at %s: are bore, stroke and cylinders as on the plate?",
			showFlow(swept), float64(g.RatedSpeed), showFlow(top))
	}
}

func showFlow(cubicMetersPerSecond float64) string {
	return strconv.FormatFloat(cubicMetersPerSecond*60e3, 'g', 4, 64) + " L/min"
}

// doubtPoles knows that an induction motor turns a little slower than the
// field, 120·f/poles, on a grid of 50 or 60 Hz.
func (p *pumpLoader) doubtPoles() {
	g := &p.pump.Geometry
	const most = 0.15 // motor slip of a small motor at its load
	fits := func(poles int) bool {
		for _, hertz := range []float64{50, 60} {
			if slip := 1 - float64(g.MotorRatedSpeed)*float64(poles)/(120*hertz); slip >= 0 && slip < most {
				return true
			}
		}
		return false
	}
	if g.MotorPoles == 0 || fits(g.MotorPoles) {
		return
	}
	for _, poles := range []int{2, 4, 6, 8, 10, 12} {
		if fits(poles) {
			p.note(p.here.child("motor").child("rated_speed"), "is %v rpm, which no motor of %d poles has on 50 or 60 Hz; one of %d has", float64(g.MotorRatedSpeed), g.MotorPoles, poles)
			return
		}
	}
}
