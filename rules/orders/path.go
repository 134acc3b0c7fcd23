package orders

import "math"

// AliasPower is the share of its power that a line keeps in its alias m
// sampling frequencies away, when polls are late or early by up to jitter
// periods, evenly: sinc²(2·m·jitter). Without jitter an alias cannot be told
// from the line.
func AliasPower(m int, jitter float64) float64 {
	s := sinc(2 * float64(m) * jitter)
	return s * s
}

// A Path is what lies between the pressure and its number: it weakens and
// delays a line. Times are in seconds, 0 where there is none.
type Path struct {
	Lags    [3]float64 // time constants in series: damping, snubber, sensor
	Average float64    // of an analog module that averages over a time
	Delay   float64    // mean age of the value when it is stamped
}

// Response is the complex factor on a line of frequency f in Hz: its
// magnitude is what is left of the line, its phase the delay.
func (p Path) Response(f float64) complex128 {
	w := 2 * math.Pi * f
	r := complex(sinc(f*p.Average), 0)
	for _, lag := range p.Lags {
		r /= complex(1, w*lag)
	}
	sin, cos := math.Sincos(-w * (p.Delay + p.Average/2))
	return r * complex(cos, sin)
}

// sinc is sin(πx)/(πx).
func sinc(x float64) float64 {
	if x == 0 {
		return 1
	}
	return math.Sin(math.Pi*x) / (math.Pi * x)
}
