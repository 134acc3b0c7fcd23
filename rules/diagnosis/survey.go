package diagnosis

import (
	"math"
	"math/cmplx"

	"pumpside/drivers/quantity"
	"pumpside/rules/hydraulics"
	"pumpside/rules/orders"
	"pumpside/rules/pump"
)

// A Survey keeps the latest of pressure and index since the speed was last
// steady, half a minute where they are read fast, and measures the line when
// the shaft's speed has swept. It holds a bounded number of samples.
type Survey struct {
	samples, marks []mark
}

// A mark is a value at a time in seconds: a pressure, or turns since some
// index mark.
type mark struct{ t, y float64 }

const (
	mostSamples = 3000
	mostMarks   = 600
	surveyed    = 30.0 // seconds
)

// NewSurvey makes an empty Survey. It grows with what it is given, up to its
// limits: most pumps are never read fast enough to fill it.
func NewSurvey() *Survey { return &Survey{} }

// Add takes a pressure in Pa. Times ascend.
func (s *Survey) Add(t, pressure float64) {
	s.samples = push(s.samples, mark{t, pressure}, mostSamples)
}

// AddMark says that the shaft passed an index pulse at a time, as turns counted
// from one mark on.
func (s *Survey) AddMark(t, turns float64) { s.marks = push(s.marks, mark{t, turns}, mostMarks) }

// push appends; a full list first loses what is old, or else its older half.
func push(list []mark, m mark, most int) []mark {
	if len(list) == most {
		keep := len(list) / 2
		for i := range list {
			if m.t-list[i].t < surveyed {
				keep = max(len(list)/4, i)
				break
			}
		}
		list = list[:copy(list, list[keep:])]
	}
	return append(list, m)
}

// Reset forgets the samples.
func (s *Survey) Reset() { s.samples, s.marks = s.samples[:0], s.marks[:0] }

// A sweep is what one short window of a ramp shows.
type sweep struct {
	turns float64 // per second
	bend  float64 // turns/s², half of what the speed rises by in a second
	order int
	ratio complex128 // pressure by the ideal mean flow, Pa by m³/s
	error float64    // relative
}

// Measure adds what the samples show of the line to line. p is the
// differential pressure. It reports how many points it added or mended. It is
// for a pump with an index of a stated angle.
func (s *Survey) Measure(m *Model, p quantity.Pascals, line *Line) int {
	sweeps := s.sweeps(m)
	ways := agree(m, sweeps, m.Late(p))
	n := 0
	for _, w := range sweeps {
		q, spread := ways.flow(m, w.turns, w.order)
		if cmplx.Abs(q) < 0.02 {
			continue
		}
		z := w.ratio / q
		line.add(LinePoint{Hertz: w.turns * float64(w.order), Re: real(z), Im: imag(z), Error: w.error, Shared: spread, Turns: w.turns, Sweep: 2 * w.bend * float64(w.order)})
		n++
	}
	return n
}

// sweeps fits the ripple's orders in short windows, as far as marks reach.
func (s *Survey) sweeps(m *Model) (list []sweep) {
	const step, half = 0.2, 0.45 // s
	if len(s.marks) < 4 || len(s.samples) < 50 {
		return nil
	}
	n := m.Geometry.Cylinders
	regression := orders.NewRegression(n, 2*n, min(3*n, orders.Highest))
	volume := float64(hydraulics.TheoreticalFlow(m.Geometry, 60)) // of a turn
	for at := max(s.marks[0].t, s.samples[0].t+half); at < s.samples[len(s.samples)-1].t-half; at += step {
		path, ok := s.path(at)
		if !ok || path.speed < 0.3 {
			continue
		}
		regression.Reset()
		for _, x := range s.samples {
			if d := x.t - at; abs(d) <= half {
				theta := 2*math.Pi*path.turns(d) + float64(m.Geometry.Index.Angle)*math.Pi/180
				regression.Add(theta, x.y, 1)
			}
		}
		fit, ok := regression.Solve()
		if !ok || fit.Samples < 20 || fit.Condition > 100 {
			continue
		}
		for i := range 2 {
			k := n * (i + 1)
			a, e := fit.Amplitude[i], fit.StandardErrors[i]
			if size := cmplx.Abs(a); size > 0 {
				// Windows overlap: the same samples serve several.
				noise := math.Hypot(e[0], e[1]) / math.Sqrt2 / size * math.Sqrt(2*half/step)
				clock := 2 * math.Pi * float64(k) * path.error
				list = append(list, sweep{path.speed, path.bend, k, a / complex(volume*path.speed, 0), math.Hypot(noise, clock)})
			}
		}
	}
	return list
}

// A path is the shaft's angle about a moment: a parabola.
type path struct {
	angle, speed, bend float64 // turns, turns/s, turns/s²
	error              float64 // of the angle, turns
}

func (p *path) turns(dt float64) float64 { return p.angle + p.speed*dt + p.bend*dt*dt }

// path fits a parabola through the marks around a moment.
func (s *Survey) path(at float64) (p path, ok bool) {
	near := s.near(at)
	if len(near) < 4 {
		return p, false
	}
	var a [3][4]float64
	origin := near[0].y
	for _, k := range near {
		row := [3]float64{1, k.t - at, (k.t - at) * (k.t - at)}
		for i := range 3 {
			for j := range 3 {
				a[i][j] += row[i] * row[j]
			}
			a[i][3] += row[i] * (k.y - origin)
		}
	}
	x, ok := solve3(a)
	if !ok {
		return p, false
	}
	p = path{angle: x[0] + origin, speed: x[1], bend: x[2]}
	square := 0.0
	for _, k := range near {
		e := k.y - p.turns(k.t-at)
		square += e * e
	}
	p.error = math.Sqrt(square / float64(len(near)-3) / float64(len(near)) * 3)
	return p, p.speed > 0
}

// near is the marks around a moment: at least four, and those within a second.
func (s *Survey) near(at float64) []mark {
	after := 0
	for after < len(s.marks) && s.marks[after].t < at {
		after++
	}
	low, high := after, after
	for (high-low < 5 || low > 0 && at-s.marks[low-1].t < 1) && low > 0 && at-s.marks[low-1].t < 2.5 {
		low--
	}
	for (high-low < 6 || high < len(s.marks) && s.marks[high].t-at < 1) && high < len(s.marks) && s.marks[high].t-at < 2.5 {
		high++
	}
	if low == after && after < len(s.marks) && s.marks[after].t-at > 0.3 || high == after {
		return nil // before the first mark or after the last
	}
	return s.marks[low:high]
}

// solve3 solves three equations by Gauss's elimination.
func solve3(a [3][4]float64) (x [3]float64, ok bool) {
	for i := range 3 {
		for j := i + 1; j < 3; j++ {
			if abs(a[j][i]) > abs(a[i][i]) {
				a[i], a[j] = a[j], a[i]
			}
		}
		if abs(a[i][i]) < 1e-12 {
			return x, false
		}
		for j := i + 1; j < 3; j++ {
			f := a[j][i] / a[i][i]
			for k := i; k < 4; k++ {
				a[j][k] -= f * a[i][k]
			}
		}
	}
	for i := 2; i >= 0; i-- {
		x[i] = a[i][3]
		for j := i + 1; j < 3; j++ {
			x[i] -= a[i][j] * x[j]
		}
		x[i] /= a[i][i]
	}
	return x, true
}

// slipping is order k of the flow of all cylinders, alike, at a speed: each
// loses a constant flow while it discharges, slip of its mean at rated speed,
// and so more of it when it turns slower.
func (m *Model) slipping(late, slip, turns float64, k int) complex128 {
	share := slip * float64(m.Geometry.RatedSpeed) / 60 / turns
	return m.all(late, k) + complex(share, 0)*m.leakOrder(late, pump.Position{Cylinder: 1, Side: pump.Suction}, k)
}

// ways are the lateness and slip a pump may have, with their weights.
type ways []way

type way struct{ late, slip, weight float64 }

// flow is the mean of slipping over all ways, and its relative spread.
func (w ways) flow(m *Model, turns float64, k int) (q complex128, spread float64) {
	square := 0.0
	for _, x := range w {
		one := m.slipping(x.late, x.slip, turns, k)
		q += complex(x.weight, 0) * one
		square += x.weight * (real(one)*real(one) + imag(one)*imag(one))
	}
	size := real(q)*real(q) + imag(q)*imag(q)
	return q, math.Sqrt(max(square/size-1, 0) / 2)
}

// agree weighs lateness of the valves and slip by how well orders 3 and 6 then
// tell of the same line where both passed the same frequency. Before that they
// are what compression says, and 3 % (pump handbooks: 3 to 5 % for a pump in
// order).
func agree(m *Model, list []sweep, guess float64) ways {
	const usual, spread = 0.03, 0.02
	const shares = 3 // about as many pairs share a sweep: they count as one
	pairs := pairsOf(m, list)
	var all ways
	total := 0.0
	for i := range 17 {
		x := guess * math.Exp(0.12*float64(i-8))
		for j := range 9 {
			y := 0.01 * float64(j)
			off, away := ln(x/guess)/0.4, (y-usual)/spread
			cost := off*off + away*away
			for k := range pairs {
				p := &pairs[k]
				e := p.ratio + cmplx.Log(m.slipping(x, y, p.slow, 2*m.Geometry.Cylinders)/m.slipping(x, y, p.fast, m.Geometry.Cylinders))
				im := math.Remainder(imag(e), 2*math.Pi)
				cost += min((real(e)*real(e)+im*im)/p.variance, 8) / shares
			}
			all = append(all, way{x, y, cost})
		}
	}
	least := math.Inf(1)
	for _, w := range all {
		least = min(least, w.weight)
	}
	for i := range all {
		all[i].weight = math.Exp((least - all[i].weight) / 2)
		total += all[i].weight
	}
	for i := range all {
		all[i].weight /= total
	}
	return all
}

// A pair is the ripple's first order at one speed and its second at half that:
// the same frequency.
type pair struct {
	fast, slow float64    // turns per second
	ratio      complex128 // ln of the ratio of the two, by flow
	variance   float64
}

func pairsOf(m *Model, list []sweep) (pairs []pair) {
	const most = 400
	for _, a := range list {
		for _, b := range list {
			if a.order == m.Geometry.Cylinders && b.order != a.order && abs(ln(2*b.turns/a.turns)) < 0.06 && len(pairs) < most {
				pairs = append(pairs, pair{a.turns, b.turns, cmplx.Log(a.ratio / b.ratio), a.error*a.error + b.error*b.error + 0.2*0.2})
			}
		}
	}
	return pairs
}

// mostPoints of a line are kept.
const mostPoints = 96

// add puts a point into the line: those of one order within 7 % are one. They
// are weighed by their errors in Pa by m³/s, and weak ones count too: by their
// errors relative to themselves those would weigh most that noise made large.
func (l *Line) add(p LinePoint) {
	const weakest = 3
	if !(p.Error < weakest) || !(p.Hertz > 0) {
		return
	}
	for i := range l.Points {
		q := &l.Points[i]
		if abs(ln(q.Hertz/p.Hertz)) > 0.035 || q.order() != p.order() || q.Record > 0 {
			continue
		}
		a, b := 1/square(q.Error*q.size()), 1/square(p.Error*p.size())
		q.Hertz = (a*q.Hertz + b*p.Hertz) / (a + b)
		q.Re, q.Im = (a*q.Re+b*p.Re)/(a+b), (a*q.Im+b*p.Im)/(a+b)
		q.Error, q.Shared = math.Max(0.02, 1/math.Sqrt(a+b)/q.size()), (a*q.Shared+b*p.Shared)/(a+b)
		q.Turns, q.Sweep = (a*q.Turns+b*p.Turns)/(a+b), (a*q.Sweep+b*p.Sweep)/(a+b)
		return
	}
	if len(l.Points) < mostPoints {
		l.Points = append(l.Points, p)
	}
}
