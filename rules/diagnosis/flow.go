package diagnosis

import (
	"math"
	"math/cmplx"

	"pumpside/rules/pump"
)

// lateOrder is order k of the flow of one cylinder (from 1) whose discharge
// valve opens only after a share late of the stroke, by the mean flow of an
// ideal pump: (1/m)·∫ v·exp(−ika) da from the opening to π. Order 0 is its
// mean.
func lateOrder(m pump.Mechanism, cylinders, cylinder int, late float64, k int) complex128 {
	const steps = 96 // Simpson's rule, exact to 1e-6
	open := opening(m, late)
	h := (math.Pi - open) / steps
	var sum complex128
	for i := range steps + 1 {
		weight := 2.0
		switch {
		case i == 0 || i == steps:
			weight = 1
		case i%2 == 1:
			weight = 4
		}
		a := open + h*float64(i)
		sum += complex(weight*h/3*m.Velocity(a), 0) * cmplx.Rect(1, -float64(k)*a)
	}
	sum /= complex(float64(cylinders), 0)
	if k == 0 {
		return sum / 2
	}
	return sum * turned(cylinders, cylinder, k)
}

// opening is the angle at which a plunger has done a share of its stroke.
func opening(m pump.Mechanism, share float64) float64 {
	low, high := 0.0, math.Pi
	for range 40 {
		middle := (low + high) / 2
		if float64(m.Position(middle)) < share {
			low = middle
		} else {
			high = middle
		}
	}
	return (low + high) / 2
}

// turned is the factor on order k of a cylinder's place on the shaft.
func turned(cylinders, cylinder, k int) complex128 {
	return cmplx.Rect(1, -float64(k)*2*math.Pi*float64(cylinder-1)/float64(cylinders))
}

// leakOrder is what a leak through the closed valve at p adds to order k of the
// flow of a pump whose valves open late, by the leak. Without lateness it is a
// constant flow for half a turn. A suction valve leaks from the start of
// compression; what goes then makes the discharge valve open later, by two
// thirds of the constant flow, since it goes with the root of a pressure that
// rises evenly. A discharge valve leaks while its chamber expands, and until
// the next compression is done.
func (m *Model) leakOrder(late float64, valve pump.Position, k int) complex128 {
	open := opening(m.Geometry.Mechanism, late)
	var c complex128
	if valve.Side == pump.Suction {
		c = arc(open, math.Pi, k) + complex(2*open/3/math.Pi, 0)*cmplx.Rect(1, -float64(k)*open)
	} else {
		c = arc(math.Pi+open/3, 2*math.Pi+2*open/3, k)
	}
	return -c * turned(m.Geometry.Cylinders, valve.Cylinder, k)
}

// arc is (1/π)·∫ exp(−ika) da.
func arc(from, to float64, k int) complex128 {
	i := complex(0, float64(k)*math.Pi)
	return (cmplx.Rect(1, -float64(k)*from) - cmplx.Rect(1, -float64(k)*to)) / i
}
