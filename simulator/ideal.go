package simulator

import "math"

// The ideal pump: rigid piping, valves without weight. A head delivers from
// the angle at which its liquid is compressed to the end of its stroke; a leak
// takes a constant flow while its valve has pressure across it.

// An idealHead is one cylinder of it. Leaks are over the mean flow of one
// cylinder as drawn.
type idealHead struct {
	displacement  float64 // 1 as drawn
	late          float64 // part of the stroke gone before the discharge valve opens
	dischargeLoss float64 // during its discharge stroke: the suction valve's leak
	suctionLoss   float64 // during its suction stroke: the discharge valve's leak
}

// idealFlow is the delivered flow at shaft angle theta over the mean flow of
// the pump as drawn.
func idealFlow(m Mechanism, heads *[Cylinders]idealHead, theta float64) float64 {
	sum := 0.0
	for j := range heads {
		h := &heads[j]
		a := turn(theta - float64(j)*2*math.Pi/Cylinders)
		if a >= math.Pi {
			sum -= h.suctionLoss / Cylinders
			continue
		}
		sum -= h.dischargeLoss / Cylinders
		if m.Position(a) >= h.late {
			// One stroke in 2π of angle has mean velocity 1/(2π).
			sum += h.displacement * m.Velocity(a) * 2 * math.Pi / Cylinders
		}
	}
	return sum
}

// turn brings an angle into [0, 2π).
func turn(a float64) float64 {
	a = math.Mod(a, 2*math.Pi)
	if a < 0 {
		a += 2 * math.Pi
	}
	return a
}

// orders is the amplitudes of cos(kθ+φ) in a function sampled evenly over one
// turn, as complex numbers A·exp(iφ), k from 0 (the mean) to n.
func orders(samples []float64, n int) []complex128 {
	out := make([]complex128, n+1)
	for k := range out {
		var re, im float64
		for i, x := range samples {
			sin, cos := math.Sincos(2 * math.Pi * float64(k) * float64(i) / float64(len(samples)))
			re += x * cos
			im -= x * sin
		}
		scale := 2 / float64(len(samples))
		if k == 0 {
			scale /= 2
		}
		out[k] = complex(re*scale, im*scale)
	}
	return out
}
