package simulator

import "math"

// A circuit is the full physics of one or more pumps on one suction and one
// discharge manifold.
//
// Line flows stand half a step off the
// pressures (a leapfrog, which neither damps nor feeds the line's resonances).
// All chambers and both manifolds are solved together by Newton's method with
// lifts and flows of the valves at the end of the step: a chamber behind a
// closing valve answers in microseconds, and only an implicit step can be
// longer than that. Chambers touch each other only through the manifolds, so
// each Newton step eliminates them and leaves two unknowns.
type circuit struct {
	mechanism Mechanism
	chambers  []chamber
	discharge manifold
	suction   manifold
	out, in   pipe
	bypass    float64 // K of an opening from discharge manifold to the tank, m³/s/√Pa
	tank      float64 // Pa absolute

	newton  int     // iterations, for the benchmark
	flow    float64 // out of the heads into the discharge manifold in the last step, m³/s
	work    float64 // J done on the liquid in the last step
	scratch []elimination
}

// An elimination is one chamber's row of the Newton step, solved for its own
// pressure: it falls by rest and follows the manifolds by these shares.
type elimination struct{ rest, byDischarge, bySuction float64 }

// start lets the circuit stand at the vessels' pressures with shut valves.
func (c *circuit) start() {
	c.scratch = make([]elimination, len(c.chambers))
	c.discharge.pressure = c.out.node[len(c.out.node)-1]
	c.suction.pressure = c.in.node[len(c.in.node)-1]
	c.discharge.held, _ = c.discharge.content(c.discharge.pressure)
	c.suction.held, _ = c.suction.content(c.suction.pressure)
	for i := range c.chambers {
		h := &c.chambers[i]
		h.oil = h.oilFull
		h.pressure = c.suction.pressure
		h.volume = h.fixed + h.swept*(1-c.mechanism.Position(-h.phase))
		h.glycol, _ = h.content(h.pressure)
	}
}

// step turns the shaft to angle theta, dt seconds after the last step. Pumps
// beyond the first have their own angles in their chambers' phases.
func (c *circuit) step(theta, dt, speed float64) {
	c.out.push(c.discharge.pressure, dt)
	c.in.push(c.suction.pressure, dt)
	c.work = 0
	for i := range c.chambers {
		h := &c.chambers[i]
		before := h.volume
		h.turnTo(c.mechanism, theta, dt, speed, c.suction.pressure)
		c.work += (h.pressure - atmosphere) * (before - h.volume)
		h.suction.begin(c.suction.pressure-h.pressure, dt)
		h.discharge.begin(h.pressure-c.discharge.pressure, dt)
	}
	c.solve(dt)
	c.out.fill(dt)
	c.in.fill(dt)
}

const (
	tolerance  = 5.0 // Pa, of every pressure
	iterations = 60
	patience   = 4
)

// solve finds the pressures at the end of the step.
func (c *circuit) solve(dt float64) {
	for i := range iterations {
		c.newton++
		if c.correct(dt, i >= patience) < tolerance {
			break
		}
	}
	c.settle(dt)
}

// correct makes one Newton step and returns its largest change of pressure.
// A tangent to a square root overshoots to the other side and can come back
// for ever; chords from the origin cannot, but are slower.
func (c *circuit) correct(dt float64, chords bool) float64 {
	pd, ps := c.discharge.pressure, c.suction.pressure
	held, slope := c.discharge.content(pd)
	rd, dd := held-c.discharge.held+dt*c.out.flow[0], slope
	held, slope = c.suction.content(ps)
	rs, ss := held-c.suction.held+dt*c.in.flow[0], slope
	if c.bypass > 0 {
		spill := checkValve{leak: c.bypass, full: 1}
		q, k := spill.flow(pd-c.tank, chords)
		rd += dt * q
		dd += dt * k
	}
	cross := 0.0
	for i := range c.chambers {
		h, e := &c.chambers[i], &c.scratch[i]
		m, slope := h.content(h.pressure)
		qs, ks := h.suction.flow(ps-h.pressure, chords)
		qd, kd := h.discharge.flow(h.pressure-pd, chords)
		ql, kl := h.loss(h.pressure)
		// Oil that leaves makes room for glycol, so it does not enter the
		// glycol's balance but the content's: content rises with the loss.
		toDischarge, toSuction := dt*kd, dt*ks
		one := 1 / (slope + toSuction + toDischarge + dt*kl)
		e.rest = one * (m + dt*(ql-h.refill) - h.glycol - dt*(qs-qd))
		e.byDischarge, e.bySuction = one*toDischarge, one*toSuction
		rd += toDischarge*e.rest - dt*qd
		rs += toSuction*e.rest + dt*qs
		dd += toDischarge - toDischarge*e.byDischarge
		ss += toSuction - toSuction*e.bySuction
		cross -= toDischarge * e.bySuction
	}
	det := dd*ss - cross*cross
	stepD, stepS := c.discharge.bounded((cross*rs-ss*rd)/det), (cross*rd-dd*rs)/det
	largest := max(c.discharge.shift(stepD), c.suction.shift(stepS))
	for i := range c.chambers {
		h, e := &c.chambers[i], &c.scratch[i]
		d := e.byDischarge*stepD + e.bySuction*stepS - e.rest
		largest = max(largest, shift(&h.pressure, d))
	}
	return largest
}

// bounded is a step of the pressure that stops where the dampener's gas begins
// to give: there the slope of the content jumps, and tangents from both sides
// could miss each other for ever.
func (m *manifold) bounded(d float64) float64 {
	if m.gas > 0 && m.pressure != m.charge && (m.pressure < m.charge) != (m.pressure+d < m.charge) {
		return m.charge - m.pressure
	}
	return d
}

func (m *manifold) shift(d float64) float64 { return shift(&m.pressure, d) }

// shift moves a pressure by d, but no nearer than a fifth of the way to a
// vacuum it has: gas never lets it get there.
func shift(p *float64, d float64) float64 {
	before := *p
	*p = max(before+d, 0.2*before)
	return math.Abs(*p - before)
}

// settle takes over the contents that belong to the pressures found.
func (c *circuit) settle(dt float64) {
	c.discharge.held, _ = c.discharge.content(c.discharge.pressure)
	c.suction.held, _ = c.suction.content(c.suction.pressure)
	c.flow = 0
	for i := range c.chambers {
		h := &c.chambers[i]
		q, _ := h.discharge.flow(h.pressure-c.discharge.pressure, false)
		c.flow += q
		lost, _ := h.loss(h.pressure)
		h.oil += dt * (h.refill - lost)
		h.glycol, _ = h.content(h.pressure)
	}
}

// adopt takes over pressures, flows and lifts of another circuit of the same
// build, so that a solution near to it is found soon.
func (c *circuit) adopt(from *circuit) {
	if len(from.out.flow) != len(c.out.flow) || len(from.in.flow) != len(c.in.flow) {
		return
	}
	copyLine := func(to, from *pipe) {
		copy(to.flow, from.flow)
		copy(to.node[:len(to.node)-1], from.node)
		to.slow = from.slow
	}
	copyLine(&c.out, &from.out)
	copyLine(&c.in, &from.in)
	c.discharge.pressure, c.suction.pressure = from.discharge.pressure, from.suction.pressure
	c.discharge.held, _ = c.discharge.content(c.discharge.pressure)
	c.suction.held, _ = c.suction.content(c.suction.pressure)
	for i := range c.chambers {
		to, from := &c.chambers[i], &from.chambers[i]
		to.pressure = from.pressure
		to.volume = to.fixed + to.swept/from.swept*(from.volume-from.fixed)
		to.suction.lift, to.discharge.lift = from.suction.lift, from.discharge.lift
		to.suction.gain, to.discharge.gain = 0, 0
		to.glycol, _ = to.content(to.pressure)
	}
}

// turnTo turns the shaft on from a whole turn to an angle at a steady speed.
func (c *circuit) turnTo(theta, speed float64) {
	step := min(2*math.Pi/cycleSize/perPoint, speed*c.longest())
	for a := step; a < turn(theta); a += step {
		c.step(a, step/speed, speed)
	}
}
