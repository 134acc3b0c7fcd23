package simulator

import (
	"fmt"
	"math"
	"slices"
	"sync"
	"time"

	"pumpside/drivers/quantity"
)

// tick is the step of everything but the ripple, which is computed at the
// instant it is looked at.
const tick = 20 * time.Millisecond

const tickSeconds = float64(tick) / float64(time.Second)

// A Skid is one pump with its drive, piping and instruments. Time is counted
// from its start and only goes forward. Any goroutine may use it.
//
// What a Skid shows at an instant depends on its settings, its events and the
// instant, not on how often it was looked at.
type Skid struct {
	set   Settings
	build [Cylinders]head

	mu     *sync.Mutex // guards everything below; one for all skids of a header
	header []*Skid     // all that deliver into the same header, itself among them
	ticks  int64       // done; the present one began at ticks·tick
	agenda agenda
	faults faults
	drive  drive
	flow   hydraulics
	heat   heat
	probe  [signalCount]instrument
	truth  Truth
	silent [deviceCount]Manner

	demand     bool
	reversed   bool
	shaft      float64  // angle of the pump shaft in turns; keeps its direction
	shaftSpeed float64  // turns per second in the present tick, with sign
	recent     []moment // ring of the last ticks, by number
	drops      float64
	gusty      float64 // of the contactor's pressure

	ripple  *ripple  // of the Mean detail
	full    *full    // of the Full detail
	glances []glance // beside recent

	rated              float64 // m³/s of displacement at rated speed
	thin, thicker      float64 // see thinner; root of the glycol's viscosity over that at 80 °C
	density, viscosity float64 // of the glycol
}

// A moment is what a pressure transmitter with its own refresh needs to know
// of a tick that is past.
type moment struct {
	shaft, speed       float64 // turns at its beginning, turns per second
	discharge, suction float64 // mean pressures, Pa
}

// NewSkid builds a skid at time 0. Settings that make no pump are an error.
func NewSkid(s Settings) (*Skid, error) {
	m := s.Machine
	switch {
	case !(m.Bore > 0 && m.Stroke > 0 && m.GearRatio > 0 && m.RatedSpeed > 0 && m.PolePairs > 0):
		return nil, fmt.Errorf("machine: bore %v m, stroke %v m, gear ratio %v, rated speed %v rpm and pole pairs %d must all be above 0",
			m.Bore, m.Stroke, m.GearRatio, m.RatedSpeed, m.PolePairs)
	case m.Mechanism.Motion != Sine && !(m.Mechanism.RodRatio > 1):
		return nil, fmt.Errorf("mechanism: rod ratio %v must be above 1", m.Mechanism.RodRatio)
	case s.IndexPulses < 0:
		return nil, fmt.Errorf("index pulses %d must not be negative", s.IndexPulses)
	}
	k := &Skid{set: s, build: built(&s), demand: s.Running, mu: new(sync.Mutex)}
	longest := max(float64(s.Discharge.Update), float64(s.Suction.Update), tickSeconds)
	k.recent = make([]moment, int(longest/tickSeconds)+3)
	k.rated = float64(m.Displacement(m.RatedSpeed))
	if s.Detail == Full {
		k.full, k.glances = newFull(), make([]glance, len(k.recent))
	} else {
		k.ripple = new(ripple)
	}
	k.drive.target = k.motorTarget(float64(m.RatedSpeed))
	k.drive.runHours, k.drive.onHours = s.RunHours, s.PowerOnHours
	k.heat.start(&s)
	k.flow.start(k)
	if s.Running {
		k.startWarm()
	}
	k.header = []*Skid{k}
	k.begin()
	return k, nil
}

// startWarm puts the pump where it is after hours at rated speed.
func (k *Skid) startWarm() {
	k.drive.command, k.drive.state = true, driveEnabled
	k.drive.command0 = k.drive.target
	k.heat.warm(&k.set)
	for range 500 { // 10 s: flow and pressures settle, nothing is counted
		k.move(0)
		k.flow.step(k)
	}
	k.truth, k.shaft = Truth{Running: true}, 0
}

// Join lets skids deliver into one header: each discharge transmitter sees the
// ripple of all, and the line takes the friction of their common flow. Join
// them before anything else uses them. Ripples add as if the other pumps' open
// valves were not there.
func Join(skids ...*Skid) {
	shared := new(sync.Mutex)
	for _, k := range skids {
		k.mu, k.header = shared, slices.Clone(skids)
	}
}

// Settings are what the skid was built from.
func (k *Skid) Settings() Settings { return k.set }

// Schedule adds events; those whose time is past happen at the next tick. An
// event that makes no sense is an error, and nothing is scheduled.
func (k *Skid) Schedule(events ...Event) error {
	for _, e := range events {
		if err := e.check(); err != nil {
			return err
		}
	}
	k.mu.Lock()
	defer k.mu.Unlock()
	for _, e := range events {
		k.agenda.add(e)
	}
	return nil
}

// Advance moves time forward by dt, as fast as the machine can.
func (k *Skid) Advance(dt time.Duration) { k.AdvanceTo(k.Truth().At + dt) }

// AdvanceTo moves time forward to at; an instant that is past changes nothing.
func (k *Skid) AdvanceTo(at time.Duration) {
	k.mu.Lock()
	defer k.mu.Unlock()
	k.advance(at)
}

// Truth is what has really happened so far.
func (k *Skid) Truth() Truth {
	k.mu.Lock()
	defer k.mu.Unlock()
	return k.truth
}

// TruthAt advances to at and tells what has really happened until then.
func (k *Skid) TruthAt(at time.Duration) Truth {
	k.mu.Lock()
	defer k.mu.Unlock()
	k.advance(at)
	return k.truth
}

func (k *Skid) advance(at time.Duration) {
	for at >= k.now()+tick {
		for _, one := range k.header { // in step, since they feel each other
			one.finish()
			one.ticks++
			one.begin()
		}
	}
	for _, one := range k.header {
		one.truth.At = max(one.truth.At, at)
	}
}

// now is the beginning of the present tick.
func (k *Skid) now() time.Duration { return time.Duration(k.ticks) * tick }

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
	running := d.state == driveEnabled && d.speed > float64(k.set.RunningAbove)*rated
	if running {
		t.RunSeconds += quantity.Seconds(tickSeconds)
		if !t.Running {
			t.Starts++
		}
	}
	t.Running = running
	t.Delivered += quantity.CubicMeters(k.flow.metered * tickSeconds)
	t.Energy += quantity.Joules(d.power * tickSeconds)
	d.energy += d.power * tickSeconds
	d.onHours += tickSeconds / 3600
	if d.state == driveEnabled {
		d.runHours += tickSeconds / 3600
	}
	k.drops += k.faults.size[SealLeak] * tickSeconds / 60
	k.heat.step(k)
}

// happen carries out an event.
func (k *Skid) happen(e Event, now time.Duration) {
	d := &k.drive
	switch {
	case e.Do.ofInstrument():
		id := signalNamed(e.Signal)
		if e.Do == Frozen {
			k.probe[id].held = k.raw(&registers[rows[id]], now)
		}
		k.probe[id].set(e, now)
		return
	case e.Do.IsFault():
		k.faults.set(e, now)
		k.flow.stale = true
		if k.full != nil {
			k.full.stale = true
		}
		k.reversed = k.faults.size[Reversed] >= 0.5
		return
	}
	switch e.Do {
	case Start:
		d.command = true
	case Stop:
		d.command = false
	case DriveTrip:
		d.trip(uint16(math.Max(1, e.Size)))
	case DriveReset:
		d.reset()
	case SetSpeed:
		d.target = k.motorTarget(e.Size)
	case DemandOn:
		k.demand = true
	case DemandOff:
		k.demand = false
	case MeterReplaced:
		d.runHours, d.onHours, d.energy = 0, 0, 0
	case DeviceSilent:
		k.silent[e.Device] = Manner{Silent: true}
	case DeviceLate:
		k.silent[e.Device] = Manner{Late: time.Duration(e.Size * float64(time.Second))}
	case DeviceRefusing:
		code := byte(e.Size)
		if code == 0 {
			code = serverFailure
		}
		k.silent[e.Device] = Manner{Refuse: code}
	case DeviceAnswering:
		k.silent[e.Device] = Manner{}
	}
}
