package diagnosis

import (
	"cmp"
	"math"
	"math/cmplx"
	"slices"
)

// A Ranked is one cause with its probability.
type Ranked struct {
	Cause       string  `json:"cause"`
	Cylinder    int     `json:"cylinder"` // from 1; 0 when not determinable, or of no one cylinder
	Probability float64 `json:"probability"`
}

// A Size is a leak as a share of one cylinder's mean flow, with the interval
// that holds it with 90 %. The zero Size is not known.
type Size struct {
	Low    float64 `json:"low"`
	Middle float64 `json:"middle"`
	High   float64 `json:"high"`
}

// Known is whether there is a size.
func (s Size) Known() bool { return s.High > 0 }

// A Ranking is what the evidence comes to.
type Ranking struct {
	Causes []Ranked // all, the most probable first; they sum to 1
	// OneHead is the probability that half a stroke of one head loses flow,
	// whichever.
	OneHead float64
	// Leak is its size by all evidence, if that is what it is; FromFlow by
	// the volumetric efficiency alone and FromOrders without it.
	Leak, FromOrders, FromFlow Size
	// Named is whether side and cylinder could be told at all, else Why says
	// what is missing.
	Named bool
	Why   string
}

const (
	sizes     = 36 // of the grid over a cause's size
	gainSteps = 13 // of the grid over the line's unknown size, from −2 to 2 σ
)

// notTriplex is why no cause is told of another pump: which orders are its
// ripple, and which a fault of one head adds, was worked out for three.
const notTriplex = "causes are worked out for pumps of three cylinders"

// Rank weighs all causes; of a pump that has not three cylinders it knows none.
// It does not keep e.
func (m *Model) Rank(e *Evidence) Ranking {
	if !m.Geometry.Triplex() {
		return Ranking{Causes: []Ranked{{Cause: NoneOfThese, Probability: 1}}, Why: notTriplex}
	}
	late := m.Late(e.Pressure)
	r := Ranking{}
	r.Named, r.Why = m.Nameable(e.Speed)
	if r.Named && !e.Indexed {
		r.Named, r.Why = false, "the index gives no angle"
	}
	g, seen := m.gains(e, late)
	if !seen {
		g = gains{}
	}
	w := weigher{model: m, e: e, late: late, gains: g, ordersSeen: seen, named: r.Named}
	w.broad = w.broadly()
	t := w.tally()
	r.Causes, r.OneHead = t.probabilities()
	if !r.Named {
		shareSides(r.Causes, r.OneHead)
	}
	if seen && !g.known[1] {
		t.blur()
	}
	r.Leak = quantiles(&t.leak)
	if seen {
		r.FromOrders = quantiles(&t.fromOrders)
	}
	if e.Efficiency.Seen {
		r.FromFlow = quantiles(&t.fromFlow)
	}
	slices.SortStableFunc(r.Causes, func(a, b Ranked) int { return cmp.Compare(b.Probability, a.Probability) })
	return r
}

// A tally is the weight of everything: of causes as ln in place of their
// probability, of all and of both losses, and of each size of a loss.
type tally struct {
	causes                     []Ranked
	all, losses                logSum
	leak, fromOrders, fromFlow [sizes]logSum
}

// tally weighs every size of every cause.
func (w *weigher) tally() (t tally) {
	for i := range causes {
		c := &causes[i]
		loss := c.name == LossInDischargeHalf || c.name == LossInSuctionHalf
		for _, cylinder := range w.cylinders(c) {
			var sum logSum
			for s := range sizes {
				x := w.at(c, c.size(s), cylinder)
				sum.add(x.both)
				if loss {
					t.leak[s].add(x.both)
					t.fromOrders[s].add(x.orders)
					t.fromFlow[s].add(x.flow)
				}
			}
			score := sum.value() + ln(w.prior(c)/float64(len(w.cylinders(c)))/sizes)
			t.all.add(score)
			if loss {
				t.losses.add(score)
			}
			t.causes = append(t.causes, Ranked{c.name, cylinder, score})
		}
	}
	return t
}

// probabilities are those of the causes, and that of either loss.
func (t *tally) probabilities() (list []Ranked, oneHead float64) {
	for i := range t.causes {
		t.causes[i].Probability = math.Exp(t.causes[i].Probability - t.all.value())
	}
	return t.causes, math.Exp(t.losses.value() - t.all.value())
}

// blur widens the sizes for a line that was not measured.
func (t *tally) blur() {
	t.fromOrders = blurred(&t.fromOrders, unknownLine)
	for s := range t.leak {
		t.leak[s] = logSum{}
		t.leak[s].add(t.fromOrders[s].value() + t.fromFlow[s].value())
	}
}

// shareSides gives both halves of the stroke the same: where no side can be
// named, amplitudes that fit one of them a little better are no ground to.
func shareSides(list []Ranked, oneHead float64) {
	for i := range list {
		if c := list[i].Cause; c == LossInDischargeHalf || c == LossInSuctionHalf {
			list[i].Probability = oneHead / 2 // one of each: no cylinder is told either
		}
	}
}

// size is the i-th of the grid.
func (c *cause) size(i int) float64 {
	return c.least * math.Pow(c.most/c.least, float64(i)/(sizes-1))
}

// unknownLine is how uncertain, in ln, the size of a leak is by a line that was
// not measured, beside what the ranking takes for uncertain: resonances below
// and above the ripple move all orders together, and the ranking takes them one
// by one (common practice, no source).
const unknownLine = 1.0

// blurred is a density over sizes widened by a normal error in ln.
func blurred(grid *[sizes]logSum, sigma float64) (wide [sizes]logSum) {
	c := &causes[0] // both losses have the same grid
	step := ln(c.most/c.least) / (sizes - 1)
	away := func(i, j int) float64 {
		off := step * float64(i-j) / sigma
		return -off * off / 2
	}
	for j := range grid {
		var all logSum // so that what lies at the edge keeps its weight
		for i := range wide {
			all.add(away(i, j))
		}
		for i := range wide {
			wide[i].add(grid[j].value() + away(i, j) - all.value())
		}
	}
	return wide
}

// quantiles are those of 5, 50 and 95 % of a size on the grid of a leak.
func quantiles(grid *[sizes]logSum) (s Size) {
	c := &causes[0] // both losses have the same grid
	var total logSum
	for i := range grid {
		total.add(grid[i].value())
	}
	sum := 0.0
	for i := range grid {
		before := sum
		sum += math.Exp(grid[i].value() - total.value())
		for _, q := range []struct {
			at   float64
			into *float64
		}{{0.05, &s.Low}, {0.5, &s.Middle}, {0.95, &s.High}} {
			if before < q.at && sum >= q.at {
				part := (q.at - before) / (sum - before)
				*q.into = c.size(i) * math.Pow(c.most/c.least, (part-0.5)/(sizes-1))
			}
		}
	}
	return s
}

// A weigher computes likelihoods of one Evidence.
type weigher struct {
	model      *Model
	e          *Evidence
	late       float64
	gains      gains
	ordersSeen bool
	named      bool
	broad      broad
}

var anyHead = []int{0}

// cylinders are the heads to be told apart: with nothing to tell them by, one
// stands for all.
func (w *weigher) cylinders(c *cause) []int {
	if !c.heads || !w.named {
		return anyHead
	}
	list := make([]int, w.model.Geometry.Cylinders)
	for i := range list {
		list[i] = i + 1
	}
	return list
}

// prior is that of a cause in the circumstances.
func (w *weigher) prior(c *cause) float64 {
	p := c.prior
	if (c.name == LateHead || c.name == SmallHead) && w.e.FromService {
		p *= 5 // air left in a head, or a make-up valve stuck, after work
	}
	if c.name == BypassPassing {
		switch w.e.Bypass {
		case On:
			p *= 20
		case Off:
			p *= 0.3 // the relief valve is still there
		}
	}
	if !w.e.Efficiency.Seen && (c.name == FlowMeter || c.name == BypassPassing || c.name == UniformWear) {
		p *= 0.05 // they move little else, and something has moved
	}
	if c.name == IndexMoved && !w.e.Indexed {
		p *= 1e-3
	}
	if c.name == TransmissionSlip && !w.model.Geometry.Belt {
		p *= 0.5
	}
	return p
}

// weights are ln likelihoods: of all evidence, of all but the efficiency, and
// of the efficiency alone.
type weights struct{ both, orders, flow float64 }

// at weighs a cause of one size, the unknown direction of one that has any
// integrated out.
func (w *weigher) at(c *cause, size float64, cylinder int) weights {
	if !c.directed || !w.named {
		f := c.effect(w.model, w.late, size, max(cylinder, 1))
		return w.weigh(&f)
	}
	var both logSum
	for d := range directions {
		f := c.effect(w.model, w.late, size, d)
		both.add(w.weigh(&f).both)
	}
	return weights{both: both.value() - ln(directions)}
}

func (w *weigher) weigh(f *effect) weights {
	rest := 0.0
	number := func(n NumberChange, s spread, broad float64) float64 {
		if !n.Seen {
			return 0
		}
		return mixed(normal(n.Delta, s.mean, n.Sigma*n.Sigma+s.error*s.error), broad, f.part(failing))
	}
	flow := number(w.e.Efficiency.part(), f.efficiency, w.broad.efficiency)
	rest += number(w.e.Torque.part(), f.torque, w.broad.torque) + number(w.e.Suction, f.suction, w.broad.suction)
	rest += w.growth(f, 3, f.third) + w.growth(f, 6, f.sixth) + w.turn(f)
	rest += w.orders(f)
	return weights{both: rest + flow, orders: rest, flow: flow}
}

// growth weighs how a ripple order has grown. What the cause adds to it is known
// against the ripple's own flow, so the line does not matter.
func (w *weigher) growth(f *effect, k int, s spread) float64 {
	x, sigma, ok := w.e.Orders[k].growth()
	if !ok {
		return 0
	}
	sigma = math.Hypot(sigma, w.lent(k)/cmplx.Abs(w.e.Orders[k].Baseline))
	if own := w.model.all(w.late, k); own != 0 {
		added := f.flow[k] / own
		if f.half && !w.named {
			s.error = math.Hypot(s.error, cmplx.Abs(added))
			return mixed(normal(x, s.mean, sigma*sigma+s.error*s.error), w.broad.growth[k], f.part(strange))
		}
		s.mean += ln(math.Max(cmplx.Abs(1+added), 0.01))
		s.error = math.Hypot(s.error, 0.5*cmplx.Abs(added))
	}
	return mixed(normal(x, s.mean, sigma*sigma+s.error*s.error), w.broad.growth[k], f.part(strange))
}

// turned is how far the ripple has turned against the index, with its error.
func (w *weigher) turned() (x, sigma float64, ok bool) {
	k := w.model.Geometry.Cylinders
	if k > mostOrder || !w.e.Indexed {
		return 0, 0, false
	}
	o := &w.e.Orders[k]
	before := cmplx.Abs(o.Baseline)
	if !o.Seen || before < 3*o.Sigma || before == 0 {
		return 0, 0, false
	}
	return cmplx.Phase((o.Baseline + o.Delta) / o.Baseline), math.Hypot(o.Sigma, w.lent(k)) / before, true
}

// turn weighs that.
func (w *weigher) turn(f *effect) float64 {
	x, sigma, ok := w.turned()
	if !ok {
		return 0
	}
	k, added := w.model.Geometry.Cylinders, 0.0
	if own := w.model.all(w.late, k); own != 0 {
		added = 0.7 * cmplx.Abs(f.flow[k]/own)
	}
	return mixed(normal(x, 0, f.turn*f.turn+added*added+sigma*sigma), w.broad.turn, f.part(strange))
}

// weak are the orders that a pump with like heads does not have.
var weak = [...]int{1, 2, 4, 5}

// orders weighs the orders, the line's unknown size integrated out.
func (w *weigher) orders(f *effect) float64 {
	if !w.ordersSeen {
		return 0
	}
	var sum, norm logSum
	for i := range gainSteps {
		z := 4*float64(i)/(gainSteps-1) - 2
		weight := -z * z / 2
		norm.add(weight)
		scale := math.Exp(z * w.gains.share)
		for _, k := range weak {
			if w.e.Orders[k].Seen {
				weight += w.order(f, k, scale)
			}
		}
		sum.add(weight)
	}
	return sum.value() - norm.value()
}

func (w *weigher) order(f *effect, k int, scale float64) float64 {
	o, g := &w.e.Orders[k], &w.gains
	switch {
	case k > 1 && (g.known[k] && g.known[1] || g.apart[k]):
		scale = 1 // its own error covers it
	case k == 2 && !g.known[1]:
		scale = math.Pow(scale, 1-math.Ln2/ln(3)) // between the first and the third
	}
	mean := f.flow[k] * g.vector[k] * complex(scale, 0)
	size := cmplx.Abs(g.vector[k]) * scale * (1 + g.error[k])
	// The higher the order, the less a model of the valves is worth.
	grow := math.Hypot(f.model*(1+0.2*float64(k-1)), g.error[k]) * cmplx.Abs(mean)
	floor := f.floor * size
	if k > 1 {
		floor = math.Hypot(floor, f.higher*size)
	}
	loose := f.loose * cmplx.Abs(o.Baseline)
	drift := math.Hypot(w.drift(k), w.lent(k))
	v := o.Sigma*o.Sigma + drift*drift + grow*grow + floor*floor + loose*loose
	if g.known[k] && w.named {
		return mixed(plane(o.Delta, mean, v), w.broad.orders[k], f.part(strangeOrder(k)))
	}
	return mixed(ring(cmplx.Abs(o.Delta), cmplx.Abs(mean), v), w.broad.orders[k], f.part(strangeOrder(k)))
}

// lent is how far order k moves because another has: the angle within a window
// is known to a few hundredths of a radian, and of what one order has changed by
// so much shows in those that are polled less than twice in their period, which
// nothing but the jitter of the polls tells apart (common practice, no source).
func (w *weigher) lent(k int) float64 {
	const part = 0.05
	if w.e.Rate == 0 || float64(k)*float64(w.e.Speed)/60 < w.e.Rate/2 {
		return 0
	}
	most := 0.0
	for j := range w.e.Orders {
		if j != k {
			most = math.Max(most, cmplx.Abs(w.e.Orders[j].Delta))
		}
	}
	return part * most
}

// drift is how far an order of a pump that is well moves within a band: with
// the band's own width, and with what the ripple lends it.
func (w *weigher) drift(k int) float64 {
	return math.Hypot(0.1*cmplx.Abs(w.e.Orders[k].Baseline), 0.0007*cmplx.Abs(w.e.Orders[w.model.Geometry.Cylinders].Baseline))
}
