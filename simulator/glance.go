package simulator

import "math"

// A weighted is a solved corner with its share.
type weighted struct {
	*solution
	share float64
}

// A solution is what is kept of a periodic state: pressures above the vessels
// they stand against, as the transmitters' own lag shows them.
type solution struct {
	pressure              [2][cycleSize]float32 // discharge, suction
	flow, spilled, torque float64
	mean                  float64 // Pa of the discharge
	cavity                float64 // Pa, the noise of bubbles that collapse
}

// A glance is what is needed to look up the pressure in one tick.
type glance struct {
	mix     [2 * (coordinates + 1)]weighted
	used    int
	live    bool
	cavity  float64
	samples [2][liveSamples + 1]float32 // with live
}

// A wobble is the speed's amplitudes once and twice per turn, over the speed:
// dθ/dt = ω(1 + once·cos θ + twice·cos 2θ).
type wobble struct{ once, twice float64 }

// speed is the factor on the speed at an angle.
func (w wobble) speed(theta float64) float64 {
	if w == (wobble{}) {
		return 1
	}
	return 1 + w.once*math.Cos(theta) + w.twice*math.Cos(2*theta)
}

// angle is that of the shaft where without wobble it would be theta, to the
// first order.
func (w wobble) angle(theta float64) float64 {
	if w == (wobble{}) {
		return theta
	}
	return theta + w.once*math.Sin(theta) + w.twice/2*math.Sin(2*theta)
}

func (f *faults) wobble() wobble {
	return wobble{math.Min(0.5, f.size[SpeedWobble]), math.Min(0.3, f.size[SpeedTwice])}
}

// pressure is the discharge or suction pressure over its vessel's, at an angle
// in turns and the part of the tick that has passed.
func (p *glance) pressure(id signal, turns, part float64) float64 {
	n := 0
	if id == suctionPressure {
		n = 1
	}
	if p.live {
		x := math.Max(0, math.Min(1, part)) * liveSamples
		i := min(int(x), liveSamples-1)
		f := float32(x) - float32(i)
		return float64(p.samples[n][i]*(1-f) + p.samples[n][i+1]*f)
	}
	x := (turns - math.Floor(turns)) * cycleSize
	i := int(x)
	f := float32(x - float64(i))
	i %= cycleSize
	j := (i + 1) % cycleSize
	sum := 0.0
	for m := range p.mix[:p.used] {
		w := &p.mix[m]
		table := &w.pressure[n]
		sum += w.share * float64(table[i]*(1-f)+table[j]*f)
	}
	return sum
}
