package diagnosis

import (
	"math"
	"math/cmplx"
)

// Averaging makes what is measured as exact as one likes, and a model never: a
// line resonates where a ramp passed too quickly to show it, heads scatter, a
// valve does more than leak. So whatever the cause, an indicator is with some
// probability one that the model does not describe, and may be anywhere that
// indicators go. Then no single one can rule a cause out, however often it was
// measured; several can. Such mixtures are Tukey's (1960) and Huber's (1964);
// the probabilities are common practice, no source.
const (
	strange = 0.05 // of what comes through the line
	failing = 1e-4 // of a number read as it is: its transmitter, good for thirty years, fails on that day
)

// part is the probability of being anywhere, for an indicator of which it is
// usual.
func (f *effect) part(usual float64) float64 {
	if f.free {
		return 0.5
	}
	return usual
}

// strangeOrder is that of an order of the pressure. A line's resonances lie
// evenly over the frequencies and are as wide as their own frequency by some
// factor, so the share of frequencies that are near one grows with them.
func strangeOrder(k int) float64 { return strange / 2 * float64(k) }

// A broad is ln of the densities of what was seen where no model holds, the
// same for every cause.
type broad struct {
	orders, growth              [mostOrder + 1]float64
	turn                        float64
	efficiency, torque, suction float64
}

// mixed is ln of a density of which a part is broad.
func mixed(model, broad, part float64) float64 {
	if model < broad-500 {
		return broad + ln(part)
	}
	return model + ln(1-part+part*math.Exp(broad-model))
}

// anywhere is ln of the density of x, of one part or two, whose size is as
// likely anywhere between least and most, on a log scale.
func anywhere(x, sigma, least, most float64, parts int) float64 {
	const steps = 7
	var sum logSum
	for i := range steps {
		s := least * math.Pow(most/least, float64(i)/(steps-1))
		v := sigma*sigma + s*s
		sum.add(-0.5*x*x/v - 0.5*float64(parts)*ln(2*math.Pi*v))
	}
	return sum.value() - ln(steps)
}

// broadly is how likely the evidence is where no model holds: from what a pump
// that is well moves by, see still, to half of all flow or torque, 50 kPa at
// the suction, a ripple four times as large, a quarter turn, and a weak order
// as large as the ripple (common practice, no source).
func (w *weigher) broadly() (b broad) {
	well := still()
	number := func(n NumberChange, s spread, most float64) float64 {
		return anywhere(n.Delta, n.Sigma, s.error, most, 1)
	}
	b.efficiency = number(w.e.Efficiency.part(), well.efficiency, 0.5)
	b.torque = number(w.e.Torque.part(), well.torque, 0.5)
	b.suction = number(w.e.Suction, well.suction, 50e3)
	growth := func(k int, s spread) {
		if x, sigma, ok := w.e.Orders[k].growth(); ok {
			b.growth[k] = anywhere(x, sigma, s.error, math.Log(4), 1)
		}
	}
	growth(3, well.third)
	growth(6, well.sixth)
	if x, sigma, ok := w.turned(); ok {
		b.turn = anywhere(x, sigma, well.turn, math.Pi/2, 1)
	}
	ripple := cmplx.Abs(w.e.Orders[w.model.Geometry.Cylinders].Baseline)
	for _, k := range weak {
		if o := &w.e.Orders[k]; o.Seen {
			least := w.drift(k)
			b.orders[k] = anywhere(cmplx.Abs(o.Delta), o.Sigma, least, math.Max(ripple, 3*least), 2)
		}
	}
	return b
}
