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
	if t.Average > 0 {
		averageTurn(out, float64(t.Average)/dt)
	}
	for _, lag := range [...]float64{float64(t.Damping), float64(t.Snubber)} {
		if lag > 0 {
			lagTurn(out, dt/lag)
		}
	}
}

// lagTurn is y' = (x − y)/lag over one period, exact for straight lines
// between the points; rise is the step over the lag.
func lagTurn(x *[cycleSize]float32, rise float64) {
	keep, early, late := ramped(rise)
	run := func(y float64, store bool) float64 {
		last := float64(x[0])
		for i := 1; i <= cycleSize; i++ {
			now := float64(x[i%cycleSize])
			y = keep*y + early*last + late*now
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

// averageTurn is the running mean over the last span points, of one period.
func averageTurn(x *[cycleSize]float32, span float64) {
	var sum [cycleSize + 1]float64
	for i, v := range x {
		sum[i+1] = sum[i] + float64(v)
	}
	whole := sum[cycleSize]
	// before is the integral from point 0 to at, for any at.
	before := func(at float64) float64 {
		turns := math.Floor(at / cycleSize)
		at -= turns * cycleSize
		i := min(int(at), cycleSize-1)
		return turns*whole + sum[i] + (at-float64(i))*float64(x[i])
	}
	var out [cycleSize]float32
	for i := range out {
		at := float64(i) + 0.5
		out[i] = float32((before(at) - before(at-span)) / span)
	}
	*x = out
}

// A path is what stands before a transmitter's converter while the circuit is
// integrated: a running mean and two lags.
type path struct {
	ring  []float64
	next  int
	sum   float64
	lags  [2]lag
	value float64
}

// A lag is a first-order lag, exact for straight lines between its samples.
type lag struct{ in, out float64 }

func (l *lag) pass(x, dt, tau float64) float64 {
	if tau <= 0 {
		l.in, l.out = x, x
		return x
	}
	keep, early, late := ramped(dt / tau)
	l.out = keep*l.out + early*l.in + late*x
	l.in = x
	return l.out
}

// ramped is how much of a lag's value, of the input at the beginning and of the
// input at the end of a step remain after it; rise is the step over the time
// constant.
func ramped(rise float64) (keep, early, late float64) {
	keep = math.Exp(-rise)
	mean := (1 - keep) / rise
	return keep, mean - keep, 1 - mean
}

// pass takes the pressure x, dt seconds after the last.
func (p *path) pass(t *Transmitter, x, dt float64) {
	if n := int(math.Round(float64(t.Average) / dt)); n > 1 {
		if len(p.ring) != n {
			p.ring, p.next, p.sum = make([]float64, n), 0, 0
		}
		p.sum += x - p.ring[p.next]
		p.ring[p.next] = x
		p.next = (p.next + 1) % n
		x = p.sum / float64(n)
	}
	x = p.lags[0].pass(x, dt, float64(t.Damping))
	p.value = p.lags[1].pass(x, dt, float64(t.Snubber))
}
