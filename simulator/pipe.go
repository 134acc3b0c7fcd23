package simulator

import "math"

// A pipe is a line from a manifold to a vessel of steady pressure, in equal
// segments: each an inertance ρl/A with friction, and between them the
// compliance of the liquid; half a segment's stands with the manifold, see
// half. Flow is positive away from the manifold.
type pipe struct {
	flow      []float64 // m³/s, at half steps
	node      []float64 // Pa absolute after each segment; the last is the vessel's
	inertance float64   // of a segment, Pa·s²/m³
	capacity  float64   // between two segments, m³/Pa
	laminar   float64   // friction of a segment: laminar·Q, or blasius·Q^1.75 if larger
	blasius   float64
	entry     float64 // strainer or filter, on the first segment: entry·Q², Pa·s²/m⁶
	exit      float64 // fittings at the vessel, on the last segment
	layer     float64 // resistance of a segment to the flow's swing about its slow mean
	slow      float64 // that mean, m³/s
	others    float64 // flow of other pumps through the same line, m³/s
}

const (
	segment = 4.0 // m, the most one segment may be long
	vapour  = 1e3 // Pa absolute, glycol with some water
)

// newPipe is a line at rest. omega is the frequency at which the friction of a
// swinging boundary layer is taken: √(2νω)/r of the inertance and ω (thin
// layers, Womersley 1955).
func newPipe(l Line, density, viscosity, end, omega float64) pipe {
	n := max(2, int(math.Ceil(float64(l.Length)/segment)))
	length := float64(l.Length) / float64(n)
	bore := float64(l.Bore)
	area := math.Pi / 4 * bore * bore
	p := pipe{
		flow:      make([]float64, n),
		node:      make([]float64, n),
		inertance: density * length / area,
		capacity:  glycolCompressibility * area * length,
		laminar:   32 * viscosity * length / (bore * bore * area),
		blasius: 0.316 / 2 * length / bore * density / (area * area) *
			math.Pow(viscosity*area/(density*bore), 0.25),
		layer: density * length / area * math.Sqrt(2*viscosity/density*omega) / (bore / 2),
	}
	for i := range p.node {
		p.node[i] = end
	}
	return p
}

// quickest is the longest step of time that is safe for the leapfrog: a part of
// what a wave takes through a segment.
func (p *pipe) quickest() float64 { return 0.4 * math.Sqrt(p.inertance*p.capacity) }

// half is the liquid of half a segment.
func (p *pipe) half() float64 { return p.capacity / glycolCompressibility / 2 }

// loss is the friction of segment i over the flow in it.
func (p *pipe) loss(i int) float64 {
	q := math.Abs(p.flow[i] + p.others)
	r := max(p.laminar, p.blasius*math.Sqrt(q*math.Sqrt(q)))
	if i == 0 {
		r += p.entry * q
	}
	if i == len(p.flow)-1 {
		r += p.exit * q
	}
	return r
}

// push advances the flows by dt with the pressures of this instant. Friction
// is taken at the end of the step, so that no resistance is too large.
func (p *pipe) push(manifold, dt float64) {
	const slowly = 0.3 // s
	p.slow += (p.flow[0] - p.slow) * min(1, dt/slowly)
	before := manifold
	g := dt / p.inertance
	for i := range p.flow {
		r := p.loss(i)
		push := before - p.node[i] + p.layer*p.slow - r*p.others
		p.flow[i] = (p.flow[i] + g*push) / (1 + g*(p.layer+r))
		before = p.node[i]
	}
}

// fill advances the pressures between the segments by dt with those flows.
func (p *pipe) fill(dt float64) {
	for i := range len(p.node) - 1 {
		// A column that parts leaves vapour of almost no pressure.
		p.node[i] = max(vapour, p.node[i]+dt/p.capacity*(p.flow[i]-p.flow[i+1]))
	}
}

// A manifold is liquid at the pump's end of a line, with a bubble of free gas
// and perhaps a gas-charged dampener.
type manifold struct {
	liquid float64 // m³
	bubble float64 // m³ at atmospheric pressure
	gas    float64 // m³ of the dampener at its charge pressure
	charge float64 // Pa absolute

	pressure float64
	held     float64 // content
}

const polytropic = 1.2 // nitrogen between isothermal and adiabatic, common practice

// content is the liquid in the manifold at pressure p, and the derivative.
func (m *manifold) content(p float64) (v, slope float64) {
	bubble := m.bubble * atmosphere / p
	v = m.liquid*(1+glycolCompressibility*(p-atmosphere)) - bubble
	slope = m.liquid*glycolCompressibility + bubble/p
	if m.gas > 0 && p >= m.charge {
		left := m.gas * math.Pow(m.charge/p, 1/polytropic)
		v += m.gas - left
		slope += left / (polytropic * p)
	}
	return v, slope
}
