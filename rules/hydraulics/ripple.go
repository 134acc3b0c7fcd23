package hydraulics

import (
	"math"
	"math/cmplx"

	"pumpside/drivers/quantity"
	"pumpside/rules/pump"
)

// FlowVariation says how far the delivered flow of an ideal pump (rigid,
// incompressible, valves without lag, single-acting) rises above and falls
// below its mean, as shares of the mean. below is negative.
func FlowVariation(m pump.Mechanism, cylinders int) (above, below quantity.Ratio) {
	high, low := extremes(cylinders, m.Velocity)
	mean := float64(cylinders) / math.Pi // one stroke is 2 crank radii, a turn 2π
	return quantity.Ratio(high/mean - 1), quantity.Ratio(low/mean - 1)
}

// FlowOrder is order k of the delivered flow of an ideal pump, by its mean:
// the flow contains Re[FlowOrder·exp(i·k·θ)], with θ = 0 where cylinder 1
// starts to discharge. It is 0 unless the number of cylinders divides k.
func FlowOrder(m pump.Mechanism, cylinders, k int) complex128 {
	if cylinders <= 0 || k%cylinders != 0 {
		return 0
	}
	return complex(float64(cylinders), 0) * CylinderOrder(m, cylinders, 1, k)
}

// CylinderOrder is the part of order k that one cylinder (from 1) of an ideal
// pump gives, by the mean flow of all of them. Taking it away is what a dead
// head does; taking away 1 % of it is a head that displaces 1 % less.
func CylinderOrder(m pump.Mechanism, cylinders, cylinder, k int) complex128 {
	// (1/π)·∫ v·exp(−ika) da over the mean of all cylinders, which is m/π.
	c := integrate(func(a float64) complex128 {
		return complex(m.Velocity(a), 0) * cmplx.Rect(1, -float64(k)*a)
	})
	return c / complex(float64(cylinders), 0) * start(cylinders, cylinder, k)
}

// LeakOrder is what a constant flow through the closed valve at p adds to
// order k of the delivered flow, by that flow:
//
//	suction valve:   the flow is lost in the cylinder's own discharge half,
//	discharge valve: in its suction half,
//
// so order 1 is 2/π at +90° or −90°, less the cylinder's own angle, even
// orders are nothing, and order 0 is the mean lost, −1/2.
func LeakOrder(cylinders int, valve pump.Position, k int) complex128 {
	if k == 0 {
		return -0.5
	}
	if k%2 == 0 {
		return 0
	}
	c := complex(0, 2/(math.Pi*float64(k))) // −(1/π)·∫ exp(−ika) da from 0 to π
	if valve.Side == pump.Discharge {
		c = -c
	}
	return c * start(cylinders, valve.Cylinder, k)
}

// extremes are the largest and smallest sum of f over the cylinders that
// discharge, over one period of the flow. A cylinder counts at both ends of
// its stroke in turn, so a step in f is seen from both sides. The grid leaves
// an error of about 1e-6.
func extremes(cylinders int, f func(a float64) float64) (high, low float64) {
	const points = 720 // per half period, so that strokes start and end on the grid
	high, low = math.Inf(-1), math.Inf(1)
	half := points * cylinders // grid steps in half a turn
	for i := range 2 * points {
		before, after := 0.0, 0.0 // the sums just before and just after this angle
		for j := range cylinders {
			n := (i + 2*points*j) % (2 * half)
			a := math.Pi * float64(n) / float64(half)
			if n < half {
				after += f(a)
			}
			if 0 < n && n <= half {
				before += f(a)
			}
		}
		high, low = max(high, before, after), min(low, before, after)
	}
	return high, low
}

// gauss5 are the nodes and weights of the five-point Gauss–Legendre rule.
var gauss5 = [...]struct{ x, w float64 }{
	{-0.9061798459386640, 0.2369268850561891},
	{-0.5384693101056831, 0.4786286704993665},
	{0, 0.5688888888888889},
	{0.5384693101056831, 0.4786286704993665},
	{0.9061798459386640, 0.2369268850561891},
}

// integrate gives ∫ f from 0 to π, exact to rounding for the orders in use.
func integrate(f func(a float64) complex128) (sum complex128) {
	const panels = 32
	const h = math.Pi / panels / 2
	for i := range panels {
		middle := h * float64(2*i+1)
		for _, g := range gauss5 {
			sum += complex(h*g.w, 0) * f(middle+h*g.x)
		}
	}
	return sum
}

// start is the angle at which a cylinder (from 1) starts to discharge, as
// the factor it puts on order k.
func start(cylinders, cylinder, k int) complex128 {
	return cmplx.Rect(1, -float64(k)*2*math.Pi*float64(cylinder-1)/float64(cylinders))
}
