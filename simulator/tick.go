package simulator

import (
	"math"
	"time"

	"pumpside/drivers/quantity"
)

// begin settles what holds during the present tick.
func (k *Skid) begin() {
	now := k.now()
	for {
		e, ok := k.agenda.due(now)
		if !ok {
			break
		}
		k.happen(e, now)
	}
	if k.ticks%faultTicks == 0 {
		k.age(now)
	}
	k.move(k.ticks)
	k.flow.step(k)
	k.recent[int(k.ticks%int64(len(k.recent)))] = moment{
		shaft: k.shaft, speed: k.shaftSpeed,
		discharge: k.flow.discharge, suction: k.flow.suction,
	}
	k.gather()
}

// gather is the gateway's round, as the first tick after it is due begins.
func (k *Skid) gather() {
	if k.set.Gateway <= 0 {
		return
	}
	if every := max(1, int64(float64(k.set.Gateway)/tickSeconds)); k.ticks%every != 0 {
		return
	}
	for i := range registers {
		k.held[registers[i].id] = k.fresh(&registers[i], k.now())
	}
}

// faultTicks is how seldom growing and erratic faults are taken anew.
const faultTicks = 50

// age brings faults that grow or come and go to now.
func (k *Skid) age(now time.Duration) {
	k.gust(k.ticks)
	changed := k.faults.wander(k.set.Seed, now)
	if k.faults.aerate(k.shaftSpeed != 0) {
		changed = true
	}
	if changed && k.full != nil {
		k.full.stale = true
	}
	if changed || now <= k.faults.settled+time.Second {
		k.faults.refresh(now)
		k.flow.stale = true
	}
}

// move advances drive and motor to the present tick.
func (k *Skid) move(sample int64) {
	d := &k.drive
	const corner = 2.0 // s, how long the speed stays off its mean
	a := 1 - tickSeconds/corner
	d.wander = a*d.wander + math.Sqrt(1-a*a)*float64(k.set.Wander)*gauss(k.set.Seed, streamWander, sample)
	rated := float64(k.set.Machine.RatedSpeed) * k.set.Machine.GearRatio
	// The rotor's inertia hides the torque's swing within a turn.
	d.slip = toward(d.slip, float64(k.set.Machine.RatedSlip)*d.torque/k.ratedTorque(), rotor)
	d.step(tickSeconds, rated/math.Max(float64(k.set.Ramp), 0.1), float64(k.set.SpeedFilter))
	k.shaftSpeed = d.speed / 60 / k.set.Machine.GearRatio * (1 - k.faults.size[BeltSlip])
	if k.reversed {
		k.shaftSpeed = -k.shaftSpeed
	}
}

// ratedTorque is the motor's, in N·m.
func (k *Skid) ratedTorque() float64 {
	m := k.set.Machine
	return float64(m.RatedPower) / (2 * math.Pi * float64(m.RatedSpeed) * m.GearRatio / 60)
}

// motorTarget is the motor speed without load that turns the pump at n rpm
// under its usual load.
func (k *Skid) motorTarget(n float64) float64 {
	const usual = 0.83 // of rated torque
	return n*k.set.Machine.GearRatio + usual*float64(k.set.Machine.RatedSlip)
}

// finish counts the present tick, which is over.
func (k *Skid) finish() {
	d, t := &k.drive, &k.truth
	turns := math.Abs(k.shaftSpeed) * tickSeconds
	k.shaft += k.shaftSpeed * tickSeconds
	t.Revolutions += turns
	t.Strokes += turns * Cylinders
	if turns > 0 {
		t.TurnSeconds += quantity.Seconds(tickSeconds)
	}
	rated := float64(k.set.Machine.RatedSpeed) * k.set.Machine.GearRatio
	running := d.drives() && d.speed > float64(k.set.RunningAbove)*rated
	if running {
		t.RunSeconds += quantity.Seconds(tickSeconds)
		if !t.Running {
			t.Starts++
		}
	}
	t.Running = running
	t.Delivered += quantity.CubicMeters(k.flow.metered * tickSeconds)
	t.Energy += quantity.Joules(d.power * tickSeconds)
	if !d.bypass {
		d.energy += d.power * tickSeconds
	}
	d.onHours += tickSeconds / 3600
	if d.state == driveEnabled {
		d.runHours += tickSeconds / 3600
	}
	k.drops += k.faults.size[SealLeak] * tickSeconds / 60
	k.heat.step(k)
}
