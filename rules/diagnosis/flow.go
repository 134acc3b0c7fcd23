package diagnosis

import (
	"math"
	"math/cmplx"

	"pumpside/drivers/quantity"
	"pumpside/rules/pump"
)

// lateOrder is order k of the flow of one cylinder (from 1) whose discharge
// valve opens only after a share late of the stroke, by the mean flow of an
// ideal pump. Order 0 is its mean.
func lateOrder(m pump.Mechanism, cylinders, cylinder int, late float64, k int) complex128 {
	return lateOrders(m, cylinders, late)[k] * turned(cylinders, cylinder, k)
}

// lateOrders are those of cylinder 1: (1/m)·∫ v·exp(−ika) da from the opening
// to π.
func lateOrders(m pump.Mechanism, cylinders int, late float64) (list [mostOrder + 1]complex128) {
	const steps = 96 // Simpson's rule, exact to 1e-6
	open := m.Angle(quantity.Ratio(late))
	h := (math.Pi - open) / steps
	for i := range steps + 1 {
		weight := 2.0
		switch {
		case i == 0 || i == steps:
			weight = 1
		case i%2 == 1:
			weight = 4
		}
		a := open + h*float64(i)
		one := cmplx.Rect(1, -a)
		flow := complex(weight*h/3*m.Velocity(a)/float64(cylinders), 0)
		for k := range list {
			list[k] += flow
			flow *= one
		}
	}
	list[0] /= 2
	return list
}

// turned is the factor on order k of a cylinder's place on the shaft.
func turned(cylinders, cylinder, k int) complex128 {
	return cmplx.Rect(1, -float64(k)*2*math.Pi*float64(cylinder-1)/float64(cylinders))
}

// leakOrder is what a leak through the closed valve at p adds to order k of the
// flow of a pump whose valves open late, by the leak. Without lateness it is a
// constant flow for half a turn.
//
// A suction valve leaks once it has shut, about halfway to the opening of the
// discharge valve. The pressure rises evenly with the stroke and the leak goes
// with its root, so until the opening three tenths of the constant flow are
// lost: the discharge valve opens later by that much.
//
// A discharge valve leaks while its chamber expands, half of the constant flow
// on the mean, then through the suction stroke, and less and less, by a quarter
// of a circle, until the next compression is done. What has come in meanwhile
// need not be compressed: the valve opens earlier by that much.
func (m *Model) leakOrder(late float64, valve pump.Position, k int) complex128 {
	const shut, expands = 0.3, 0.4
	open := m.Geometry.Mechanism.Angle(quantity.Ratio(late))
	var c complex128
	if valve.Side == pump.Suction {
		c = arc(open, math.Pi, k) + burst(open, shut*open, k)
	} else {
		c = arc(math.Pi+expands*open, 2*math.Pi+math.Pi/4*open, k) - burst(open, math.Pi/4*open, k)
	}
	return -c * turned(m.Geometry.Cylinders, valve.Cylinder, k)
}

// burst is arc for a constant flow of that many radians, all at one angle.
func burst(at, size float64, k int) complex128 {
	return complex(size/math.Pi, 0) * cmplx.Rect(1, -float64(k)*at)
}

// arc is (1/π)·∫ exp(−ika) da.
func arc(from, to float64, k int) complex128 {
	i := complex(0, float64(k)*math.Pi)
	return (cmplx.Rect(1, -float64(k)*from) - cmplx.Rect(1, -float64(k)*to)) / i
}
