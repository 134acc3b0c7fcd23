package diagnosis

import (
	"math"
	"math/cmplx"

	"pumpside/drivers/quantity"
	"pumpside/rules/hydraulics"
	"pumpside/rules/orders"
	"pumpside/rules/pump"
)

// A Model is one pump with what is known of its line.
type Model struct {
	Geometry pump.Geometry
	Line     *Line
	// Path is what lies between the discharge pressure and its number, as far
	// as it is known.
	Path orders.Path
	// Unconfirmed is that index or rotation may have changed, as after
	// electrical work: then nothing is named.
	Unconfirmed bool

	heads [lateSteps + 1][mostOrder + 1]complex128 // of cylinder 1, by lateness
}

const lateSteps = 100

// NewModel makes a Model of a valid geometry.
func NewModel(g pump.Geometry, line *Line) *Model {
	m := &Model{Geometry: g, Line: line}
	for i := range m.heads {
		m.heads[i] = lateOrders(g.Mechanism, g.Cylinders, float64(i)/lateSteps)
	}
	return m
}

// head is lateOrder, looked up.
func (m *Model) head(cylinder int, late float64, k int) complex128 {
	x := math.Max(0, math.Min(late, 1)) * lateSteps
	i := min(int(x), lateSteps-1)
	part := complex(x-float64(i), 0)
	return (m.heads[i][k]*(1-part) + m.heads[i+1][k]*part) * turned(m.Geometry.Cylinders, cylinder, k)
}

// all is order k of the flow of all cylinders, alike.
func (m *Model) all(late float64, k int) complex128 {
	if k%m.Geometry.Cylinders != 0 {
		return 0
	}
	return complex(float64(m.Geometry.Cylinders), 0) * m.head(1, late, k)
}

// Late is the share of the stroke after which a healthy discharge valve opens
// at a differential pressure: what compression takes, and a hundredth for the
// valve itself (common practice, no source). Where dead volumes are not
// stated, small hydraulic ends have some five displacements of them.
func (m *Model) Late(p quantity.Pascals) float64 {
	g := m.Geometry
	if g.Dead == (pump.DeadVolume{}) {
		g.Dead = pump.DeadVolume{Oil: 3 * g.Displacement(), Liquid: 2 * g.Displacement()}
	}
	loss := hydraulics.CompressionLoss(g, hydraulics.TypicalCompressibility, p)
	return math.Max(0.01, math.Min(float64(loss)+0.02, 0.2))
}

// Nameable is whether half-stroke and cylinder can be named at a shaft speed,
// and if not, what is missing, in words.
func (m *Model) Nameable(speed quantity.RevolutionsPerMinute) (bool, string) {
	_, _, known := m.Line.At(float64(speed)/60, float64(speed)/60, m.Path)
	switch {
	case !m.Geometry.Triplex():
		return false, notTriplex
	case !m.Geometry.Index.Present():
		return false, "no shaft index"
	case !m.Geometry.NamesCylinders():
		return false, unnamed(m.Geometry)
	case m.Unconfirmed:
		return false, "index or rotation is not confirmed since the last work"
	case !known:
		return false, "the line was not measured at the shaft's frequency: it takes a start or a speed ramp polled as fast as a fast window"
	}
	return true, ""
}

// unnamed says what an index needs before a cylinder can be named.
func unnamed(g pump.Geometry) string {
	switch {
	case !g.Index.Once():
		return "the index gives more or less than one pulse a turn"
	case g.Index.AngleKnown:
		return "nobody has stated which cylinder is number one"
	case g.Cylinder1 != "":
		return "nobody has stated the angle of the index"
	}
	return "nobody has stated the angle of the index and which cylinder is number one"
}

// gains are, for each order, the pressure that a change of the flow by the
// pump's ideal mean makes.
type gains struct {
	vector [mostOrder + 1]complex128 // Pa; direction only where known
	error  [mostOrder + 1]float64    // relative, beyond what all share
	known  [mostOrder + 1]bool       // measured, direction too
	apart  [mostOrder + 1]bool       // its size is known beside that of the first
	share  float64                   // ln, standard deviation common to all
}

// gains of the pump at the evidence's operating point; ok is false when there
// is neither a measured line nor ripple to go by.
func (m *Model) gains(e *Evidence, late float64) (g gains, ok bool) {
	flow := float64(hydraulics.TheoreticalFlow(m.Geometry, e.Speed))
	hertz := float64(e.Speed) / 60
	n := m.Geometry.Cylinders
	// The ripple's own orders tell the size where they are.
	ripple := [2]float64{}
	for i := range ripple {
		if k := n * (i + 1); k <= mostOrder && e.Orders[k].Seen {
			if q := cmplx.Abs(m.all(late, k)); q > 0.01 {
				ripple[i] = cmplx.Abs(e.Orders[k].Baseline) / q
			}
		}
	}
	base, from := ripple[0], float64(n)
	if base == 0 {
		base, from = ripple[1], float64(2*n)
	}
	z1, err, known := m.Line.At(hertz, hertz, m.Path)
	switch {
	case known:
		g.vector[1], g.known[1], g.share = z1*complex(flow, 0), true, err
		if base == 0 {
			base, from = cmplx.Abs(z1)*flow*3, 3
		}
	case base > 0:
		// Below its resonance a line is an inertance, above it a compliance:
		// the lower order may count a tenth or ten times as much (common
		// practice, no source), beside what the transmitter does to both.
		seen := cmplx.Abs(m.Path.Response(hertz)) / cmplx.Abs(m.Path.Response(hertz*from))
		// Most lines have their resonance below some 20 Hz, and give above it.
		above := math.Max(1, hertz*from/20)
		g.vector[1], g.share = complex(base*0.6*seen*above, 0), 1.2+0.5*ln(above)
	default:
		return g, false
	}
	slope := ln(base/cmplx.Abs(g.vector[1])) / ln(from)
	for k := 2; k <= mostOrder; k++ {
		if z, err, ok := m.Line.At(hertz*float64(k), hertz, m.Path); ok {
			g.vector[k], g.known[k], g.error[k] = z*complex(flow, 0), true, err
			continue
		}
		// Between two orders a line may have a resonance.
		g.error[k] = 0.8
		size := cmplx.Abs(g.vector[1]) * math.Exp(slope*ln(float64(k)))
		if ripple[0] > 0 && ripple[1] > 0 && k > n {
			size = ripple[0] * math.Pow(ripple[1]/ripple[0], ln(float64(k)/float64(n))/math.Ln2)
			g.error[k], g.apart[k] = 0.5, true
		}
		g.vector[k] = complex(size, 0)
	}
	return g, true
}
