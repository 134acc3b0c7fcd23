package simulator

import "math"

// above is a pressure over its vessel's, through the lags of a transmitter.
// A lag of a periodic signal is periodic: after enough turns of the same
// signal through it, the last turn is the answer.
func above(out, in *[cycleSize]float32, base, rpm float64, t *Transmitter) {
	for i := range in {
		out[i] = in[i] - float32(base)
	}
	dt := 60 / rpm / cycleSize
	for _, lag := range [...]float64{float64(t.Damping), float64(t.Snubber)} {
		if lag > 0 {
			lagTurn(out, dt/lag)
		}
	}
}

// lagTurn is y' = (x − y)/lag over one period, exact for straight lines
// between the points; rise is the step over the lag.
func lagTurn(x *[cycleSize]float32, rise float64) {
	keep := math.Exp(-rise)
	slope := (1 - keep) / rise
	run := func(y float64, store bool) float64 {
		last := float64(x[0])
		for i := 1; i <= cycleSize; i++ {
			now := last
			if i < cycleSize {
				now = float64(x[i])
			} else {
				now = float64(x[0])
			}
			y = keep*y + (slope-keep)*last + (1-slope)*now
			last = now
			if store && i < cycleSize {
				x[i] = float32(y)
			}
		}
		return y
	}
	// One turn multiplies a wrong start by keep^cycleSize: solve for the right one.
	zero := run(0, false)
	start := zero / (1 - math.Exp(-rise*cycleSize))
	x[0] = float32(run(start, true))
}
