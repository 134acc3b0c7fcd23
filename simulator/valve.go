package simulator

import "math"

// A checkValve is one self-acting valve in the circuit. Flow through it is
// K·Δ/√(|Δ| + smooth): the orifice law √(2Δ/ρ) with a straight line where the
// difference vanishes, so that it can be solved for. K goes with the lift, and
// the lift follows the difference with a lag. Both are taken at the end of a
// step: at low lift a little more opening relieves so much pressure that an
// explicit lift would chatter.
type checkValve struct {
	open    float64 // K fully open, m³/s/√Pa
	leak    float64 // K of the orifice that stays when it is shut
	seep    float64 // linear leak past the seat, m³/s/Pa
	opening float64 // Pa
	full    float64 // Pa more
	lag     float64 // s
	haste   float64 // how far beyond its stops a large difference drives the lift
	least   float64 // lift it cannot go below: stuck open

	lift float64 // 0 shut, 1 open, at the beginning of the step
	gain float64 // of the lift towards its goal in this step
}

const (
	dischargeCoefficient = 0.7 // of a sharp seat, common practice
	smooth               = 100 // Pa
)

// begin takes over the lift at a forward difference in Pa and prepares a step
// of dt seconds.
func (v *checkValve) begin(difference, dt float64) {
	v.lift, _ = v.lifted(difference)
	v.gain = dt / (v.lag + dt)
}

// lifted is the lift at the end of the step, and its derivative.
func (v *checkValve) lifted(difference float64) (lift, slope float64) {
	goal := (difference - v.opening) / v.full
	slope = v.gain / v.full
	if goal > 1+v.haste {
		goal, slope = 1+v.haste, 0
	} else if goal < -v.haste {
		goal, slope = -v.haste, 0
	}
	lift = v.lift + v.gain*(goal-v.lift)
	if lift >= 1 {
		return 1, 0
	}
	if lift <= v.least {
		return v.least, 0
	}
	return lift, slope
}

// flow is the flow at a forward difference in Pa, and its derivative or, as a
// chord, at least its ratio to the difference.
func (v *checkValve) flow(difference float64, chord bool) (q, slope float64) {
	lift, rise := v.lifted(difference)
	a := math.Abs(difference) + smooth
	root := 1 / math.Sqrt(a) // one division serves for all: they take most of the time
	k := (v.open*lift + v.leak) * root
	q = difference * k
	if slope = k; !chord {
		slope *= (1 + smooth*root*root) / 2
	}
	if difference > 0 {
		slope += v.open * rise * difference * root
	} else {
		q += v.seep * difference
		slope += v.seep
	}
	return q, slope
}

// orificeFactor is K of a free area in m².
func orificeFactor(area, density float64) float64 {
	return dischargeCoefficient * area * math.Sqrt(2/density)
}
