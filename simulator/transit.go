package simulator

import "math"

// integrate runs the circuit through the present tick and samples it.
func (u *full) integrate(k *Skid, p *glance) {
	s := &k.set
	if !u.live || u.wearID != u.nowID {
		u.revive(k)
	}
	c := u.circuit
	c.out.node[len(c.out.node)-1] = k.flow.contactor + atmosphere
	c.in.node[len(c.in.node)-1] = k.head() + atmosphere
	dir := math.Copysign(1, k.shaftSpeed)
	theta := 2 * math.Pi * k.shaft * dir
	speed := 2 * math.Pi * math.Abs(k.shaftSpeed)
	const sample = tickSeconds / liveSamples
	per := max(1, int(math.Ceil(sample/c.longest())), int(math.Ceil(sample*speed/(2*math.Pi/cycleSize/perPoint))))
	dt := sample / float64(per)
	p.live = true
	u.sample(s, k, p, 0)
	for i := range liveSamples {
		for j := range per {
			turned := theta + speed*dt*float64(i*per+j+1)
			c.step(u.now.wobble.angle(turned), dt, speed)
			u.flow += dt / tickSeconds * c.out.flow[0]
			u.spilled += dt / tickSeconds * c.spill()
			u.torque += c.work / (speed * tickSeconds)
		}
		u.sample(s, k, p, i+1)
		u.mean += float64(p.samples[0][i+1]) / liveSamples
	}
}

// sample passes the pressures through what stands before the transmitters'
// converters.
func (u *full) sample(s *Settings, k *Skid, p *glance, i int) {
	x := [2]float64{
		u.circuit.discharge.pressure - atmosphere - k.flow.contactor,
		u.circuit.suction.pressure - atmosphere - k.head(),
	}
	for n, t := range [...]*Transmitter{&s.Discharge, &s.Suction} {
		if i > 0 {
			u.lagged[n].pass(t, x[n], tickSeconds/liveSamples)
		}
		p.samples[n][i] = float32(u.lagged[n].value)
	}
}

// revive makes the circuit the pump's own: from rest, or from the periodic
// state at the present speed.
func (u *full) revive(k *Skid) {
	s := &k.set
	c := condition{
		speed: float64(s.Machine.RatedSpeed), contactor: k.flow.contactor, head: k.head(),
		glycol: k.heat.glycol, oil: k.heat.oil,
		heads: u.now.heads, piping: u.now.piping, wobble: u.now.wobble, reversed: u.now.reversed,
	}
	fresh := newCircuit(s, &c)
	speed := math.Abs(k.shaftSpeed)
	switch {
	case u.live: // only the faults have changed
		fresh.adopt(u.circuit)
	case speed*60 > 0.3*float64(s.Machine.RatedSpeed):
		c.speed = speed * 60
		solveCycle(fresh, &c)
		fresh.turnTo(2*math.Pi*k.shaft*math.Copysign(1, k.shaftSpeed), 2*math.Pi*speed)
	default:
		u.lagged = [2]path{}
	}
	u.circuit, u.live, u.wearID = fresh, true, u.nowID
}
