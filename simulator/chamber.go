package simulator

// A chamber is one head in the circuit: glycol, diaphragm, oil and plunger.
// Pressures are absolute, contents are volumes the liquid has at atmospheric
// pressure, flows are of such volumes.
type chamber struct {
	phase   float64 // angle of the shaft at which its discharge stroke starts
	swept   float64 // m³ displaced in a stroke
	fixed   float64 // m³ of the chamber at the end of discharge
	gas     float64 // m³ at atmospheric pressure
	oilFull float64 // m³ of oil when made up

	plunger float64 // leak to the sump, m³/s/Pa
	lifts   float64 // Pa gauge at which the oil cell's relief valve opens
	relief  float64 // m³/s/Pa above it

	suction, discharge checkValve

	pressure float64
	volume   float64 // of the chamber now
	oil      float64
	refill   float64 // m³/s of make-up oil in the present step
	glycol   float64 // content
}

// content is the glycol a chamber of its present volume holds at pressure p,
// and the derivative. Liquids shrink in a straight line, gas by Boyle's law.
func (c *chamber) content(p float64) (m, slope float64) {
	gauge := p - atmosphere
	one := 1 / p
	bubble := c.gas * atmosphere * one
	left := c.volume - c.oil*(1-oilCompressibility*gauge) - bubble
	swelled := 1 / (1 - glycolCompressibility*gauge)
	m = left * swelled
	slope = (c.oil*oilCompressibility + bubble*one + glycolCompressibility*m) * swelled
	return m, slope
}

// loss is the oil that leaves for the sump at pressure p, and the derivative.
// An oil cell that runs dry loses less and less.
func (c *chamber) loss(p float64) (q, slope float64) {
	gauge := p - atmosphere
	dry := min(1, max(0, 4*c.oil/c.oilFull-1))
	if gauge > 0 {
		q, slope = c.plunger*dry*gauge, c.plunger*dry
	}
	if over := gauge - c.lifts; over > 0 {
		q += c.relief * dry * over
		slope += c.relief * dry
	}
	return q, slope
}

// turnTo moves the plunger to shaft angle theta. While the chamber fills, the
// make-up valve gives back what the oil cell has lost: most of it within a
// quarter turn, and never all that the plunger draws.
func (c *chamber) turnTo(m Mechanism, theta, dt, speed, inlet float64) {
	a := theta - c.phase
	before := c.volume
	c.volume = c.fixed + c.swept*(1-m.Position(a))
	c.refill = 0
	if drawn := c.volume - before; drawn > 0 && c.oil < c.oilFull && c.pressure < inlet {
		const perRadian = 2
		c.refill = min((c.oilFull-c.oil)*min(1/dt, perRadian*speed), 0.9*drawn/dt)
	}
}
