package simulator

import (
	"slices"
	"sync"
	"time"
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
	manner [deviceCount]Manner

	demand     bool
	permitted  bool
	selected   float64 // see Selector
	reversed   bool
	shaft      float64             // angle of the pump shaft in turns; keeps its direction
	shaftSpeed float64             // turns per second in the present tick, with sign
	held       [signalCount]uint32 // what the gateway read last
	recent     []moment            // ring of the last ticks, by number
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
	if err := s.check(); err != nil {
		return nil, err
	}
	k := &Skid{set: s, build: built(&s), mu: new(sync.Mutex)}
	k.demand, k.permitted, k.selected = s.Running, true, 2
	k.header = []*Skid{k}
	longest := max(float64(s.Discharge.Update), float64(s.Suction.Update), tickSeconds)
	k.recent = make([]moment, int(longest/tickSeconds)+3)
	k.rated = float64(s.Machine.Displacement(s.Machine.RatedSpeed))
	if s.Detail == Full {
		k.full, k.glances = newFull(), make([]glance, len(k.recent))
	} else {
		k.ripple = new(ripple)
	}
	k.drive.target = k.motorTarget(float64(s.Machine.RatedSpeed))
	k.drive.runHours, k.drive.onHours = s.RunHours, s.PowerOnHours
	k.heat.start(&s)
	k.flow.start(k)
	if s.Running {
		k.startWarm()
	}
	k.begin()
	return k, nil
}

// startWarm puts the pump where it is after hours at rated speed.
func (k *Skid) startWarm() {
	k.drive.command, k.drive.state = true, driveEnabled
	k.drive.command0 = k.drive.target
	k.heat.warm(&k.set)
	for i := range 500 { // 10 s: flow and pressures settle, nothing is counted
		k.move(int64(-1 - i))
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
