package simulator

import (
	"math"
)

// A cycle is the periodic state of one condition: what repeats each turn.
type cycle struct {
	discharge [cycleSize]float32 // Pa gauge, by shaft angle
	suction   [cycleSize]float32
	flow      float64 // m³/s mean, into the line
	spilled   float64 // m³/s mean, through the bypass
	torque    float64 // N·m mean on the plungers
	lowest    float64 // Pa absolute, in any chamber
	turns     int     // it took to settle
	drift     float64 // Pa, the largest difference between the last two turns
}

const (
	cycleSize   = 360
	perPoint    = 2       // steps of the integration for each point of the table
	longestStep = 0.25e-3 // s
	mostTurns   = 150
	settledAt   = 100.0 // Pa between two turns
	averaged    = 24    // turns, of a state that does not settle
)

// solveCycle integrates from rest, or from what was left in k, until two turns
// are alike. Of a pump that does not settle it is the mean of many turns.
func solveCycle(k *circuit, c *condition) *cycle {
	out := new(cycle)
	speed := c.speed / 60 * 2 * math.Pi
	point := 2 * math.Pi / speed / cycleSize
	sub := max(perPoint, int(math.Ceil(point/k.longest())))
	for out.turns = 1; out.turns <= mostTurns; out.turns++ {
		out.drift = turnOnce(k, c, speed, sub, out)
		if out.drift < settledAt && out.turns > 2 {
			return out
		}
	}
	return average(k, c, speed, sub, out)
}

// longest is the longest step of time, in s, that the circuit bears.
func (c *circuit) longest() float64 {
	return min(longestStep, c.out.quickest(), c.in.quickest())
}

// average is the mean of the next turns.
func average(k *circuit, c *condition, speed float64, sub int, one *cycle) *cycle {
	mean := &cycle{turns: one.turns, drift: one.drift, lowest: one.lowest}
	for range averaged {
		turnOnce(k, c, speed, sub, one)
		for i := range one.discharge {
			mean.discharge[i] += one.discharge[i] / averaged
			mean.suction[i] += one.suction[i] / averaged
		}
		mean.flow += one.flow / averaged
		mean.spilled += one.spilled / averaged
		mean.torque += one.torque / averaged
	}
	return mean
}

// turnOnce integrates one turn and writes it into out. It returns the largest
// difference from what stood there.
func turnOnce(k *circuit, c *condition, speed float64, sub int, out *cycle) (drift float64) {
	step := 2 * math.Pi / cycleSize / float64(sub)
	time, volume, spilled, work := 0.0, 0.0, 0.0, 0.0
	out.lowest = math.Inf(1)
	for i := range cycleSize {
		out.discharge[i], drift = replaced(out.discharge[i], k.discharge.pressure, drift)
		out.suction[i], drift = replaced(out.suction[i], k.suction.pressure, drift)
		for j := range sub {
			theta := step * float64(i*sub+j+1)
			now := speed * c.wobble.speed(theta-step/2)
			dt := step / now
			k.step(theta, dt, now)
			time += dt
			volume += dt * k.out.flow[0]
			spilled += dt * k.spill()
			work += k.work
		}
		for j := range k.chambers {
			out.lowest = min(out.lowest, k.chambers[j].pressure)
		}
	}
	out.flow, out.spilled = volume/time, spilled/time
	out.torque = work / (2 * math.Pi)
	return drift
}

func replaced(old float32, absolute, drift float64) (float32, float64) {
	gauge := absolute - atmosphere
	return float32(gauge), max(drift, math.Abs(gauge-float64(old)))
}

// spill is the flow through the bypass now.
func (c *circuit) spill() float64 {
	if c.bypass == 0 {
		return 0
	}
	v := checkValve{leak: c.bypass, full: 1}
	q, _ := v.flow(c.discharge.pressure-c.tank, false)
	return q
}
