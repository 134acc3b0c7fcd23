package simulator

import (
	"math"
	"time"
)

// rows finds the register of a signal.
var rows = func() (r [signalCount]int) {
	for i := range registers {
		r[registers[i].id] = i
	}
	return r
}()

// A shown signal is its value in the unit of its register, and the noise of
// its instrument over the span of the register.
type shown struct{ value, deviation float64 }

// show is what an instrument in good order shows. Pressures, the index and
// everything that is a state or a count have no noise here.
func (k *Skid) show(id signal, at time.Duration) shown {
	d, h, m := &k.drive, &k.flow, &k.set.Machine
	carried := float64(bit(!d.bypass)) // the drive measures only what it feeds
	switch id {
	case driveStatus:
		return shown{value: float64(d.statusWord())}
	case driveFaultCode:
		return shown{value: float64(d.faultCode)}
	case driveFrequency:
		return shown{value: d.command0 * float64(m.PolePairs) / 60}
	case motorSpeed:
		return shown{value: d.shown, deviation: 0.00005}
	case motorCurrent:
		return shown{value: carried * k.current(), deviation: 0.0005}
	case motorTorque:
		return shown{value: carried * d.torque, deviation: 0.0005}
	case motorPower:
		return shown{value: carried * d.power / 1e3, deviation: 0.0002}
	case driveHeatsink:
		return shown{value: k.heat.heatsink}
	case driveRunHours:
		return shown{value: math.Floor(d.runHours)}
	case drivePowerOnHours:
		return shown{value: math.Floor(d.onHours)}
	case driveEnergy:
		return shown{value: d.energy / 3.6e6}
	case selector:
		return shown{value: k.selected}
	case glycolFlow:
		return shown{value: h.shownFlow * 60e3, deviation: 0.001}
	case glycolVolume:
		return shown{value: math.Mod(math.Max(0, h.volume)*1e3, 1<<32/10)}
	case glycolTemperature:
		return shown{value: k.heat.glycol, deviation: 0.0005}
	case oilTemperature:
		return shown{value: k.heat.oil, deviation: 0.0005}
	case ambientTemperature:
		return shown{value: k.heat.ambient, deviation: 0.0005}
	case glycolLevel:
		return shown{value: 100 * h.level, deviation: 0.001}
	case oilLevel:
		return shown{value: 75 * (1 - k.faults.size[OilLow]) * (1 + 0.2*k.faults.size[DiaphragmLeak]), deviation: 0.001}
	case strainerDifferential:
		return shown{value: h.strainer / 1e3, deviation: 0.0005}
	case filterDifferential:
		return shown{value: h.filter / 1e3, deviation: 0.0005}
	case sealLeak:
		return shown{value: math.Mod(math.Floor(k.drops), 1<<16)}
	case contactorPressure:
		return shown{value: k.contactor() / 1e3, deviation: 0.0005}
	case gasFlow:
		return shown{value: 11800 * float64(bit(k.demand)), deviation: 0.0005}
	case gasTemperature:
		return shown{value: 32 + 0.2*(k.heat.ambient-20), deviation: 0.0005}
	case shaftIndex:
		return shown{value: k.indexCount(at)}
	case shaftIndexAge:
		return shown{value: k.indexAge(at)}
	default:
		return shown{value: float64(bit(k.state(id)))}
	}
}

// state is a signal that is on or off.
func (k *Skid) state(id signal) bool {
	switch id {
	case contactorAuxiliary:
		return k.drive.drives()
	case bypassContactor:
		return k.drive.bypass
	case runDemand:
		return k.demand
	case diaphragmLeak:
		return k.faults.size[DiaphragmLeak] > 0.2
	case glycolFlowSwitch:
		return k.flow.metered > 0.3*k.rated
	case oilLevelSwitch:
		return k.faults.size[OilLow] < 0.5
	case bypassValve:
		return k.faults.size[BypassOpen] > 0
	case runCommand:
		return k.drive.command
	case permissive:
		return k.permitted
	case controlPower:
		return true
	}
	return false
}

// current is the motor's in A: load beside magnetising current.
func (k *Skid) current() float64 {
	if !k.drive.drives() || k.drive.speed == 0 {
		return 0
	}
	rated := float64(k.set.Machine.RatedPower) / (1.732 * 400 * 0.8 * 0.87)
	return rated * math.Hypot(0.45, 0.893*k.drive.torque/k.ratedTorque())
}

// shaftAt is the shaft's angle in turns at an instant of the present tick.
func (k *Skid) shaftAt(at time.Duration) float64 {
	turns := k.shaft + k.shaftSpeed*(at-k.now()).Seconds()
	return k.faults.wobble().angle(2*math.Pi*turns) / (2 * math.Pi)
}

// pulses is the place of the index wheel, in pulses since the start.
func (k *Skid) pulses(at time.Duration) float64 {
	moved := k.set.IndexOffset + k.faults.size[IndexMoved]
	return math.Abs(k.shaftAt(at)-moved) * float64(k.set.IndexPulses)
}

func (k *Skid) indexCount(at time.Duration) float64 {
	return float64(uint16(uint64(math.Floor(k.pulses(at)))))
}

// indexAge is the time since the last pulse, in ms.
func (k *Skid) indexAge(at time.Duration) float64 {
	rate := math.Abs(k.shaftSpeed) * float64(k.set.IndexPulses) / 1e3
	if rate == 0 {
		return math.MaxUint16
	}
	p := k.pulses(at)
	return (p - math.Floor(p)) / rate
}

// raw is the register value of row r at an instant of the present tick, as it
// comes over the wire.
func (k *Skid) raw(r *Register, at time.Duration) uint32 {
	if k.set.Gateway > 0 {
		return k.held[r.id]
	}
	return k.fresh(r, at)
}

// fresh is the register value in the device itself.
func (k *Skid) fresh(r *Register, at time.Duration) uint32 {
	p := &k.probe[r.id]
	if p.is(Frozen, at) {
		return p.held
	}
	if r.id == dischargePressure || r.id == suctionPressure {
		return uint32(k.pressureCounts(r.id, at))
	}
	s := k.show(r.id, at)
	const refresh = 100 * time.Millisecond // of everything but pressures and index
	x := p.distort(s.value, r.High-r.Low, s.deviation, k.set.Seed, r.id, int64(at/refresh), at)
	if r.Loop {
		return loop((x-r.Low)/(r.High-r.Low), p.is(Failed, at))
	}
	if p.is(Failed, at) {
		return r.unavailable()
	}
	if r.Type == "float32" {
		return math.Float32bits(float32((x - r.Offset) / r.Scale))
	}
	return r.integer((x - r.Offset) / r.Scale)
}

// loop is a 4–20 mA current in µA. NAMUR NE 43: measurement stays within
// 3.8 and 20.5 mA, 3.6 mA and less is a failure.
func loop(share float64, failed bool) uint32 {
	if failed {
		return 3500
	}
	return uint32(math.Round(1e3 * math.Max(3.8, math.Min(20.5, 4+16*share))))
}

// unavailable is what a module shows for a broken sensor: NaN, or the lowest
// value of the type.
func (r *Register) unavailable() uint32 {
	switch r.Type {
	case "float32":
		return 0x7fc00000
	case "int16":
		return 0x8000
	case "uint16", "uint32":
		return math.MaxUint32
	}
	return 0
}

// integer rounds x into the type of r, held at the ends of its range.
func (r *Register) integer(x float64) uint32 {
	x = math.Round(x)
	switch r.Type {
	case "int16":
		return uint32(uint16(int16(math.Max(math.MinInt16, math.Min(math.MaxInt16, x)))))
	case "uint16":
		return uint32(math.Max(0, math.Min(math.MaxUint16, x)))
	case "uint32":
		return uint32(math.Max(0, math.Min(math.MaxUint32, x)))
	}
	return bit(x >= 0.5)
}

// word is the first or second register of a raw value.
func (r *Register) word(raw uint32, n uint16) uint16 {
	if r.Words() == 1 || (r.WordOrder == "CDAB") == (n == 0) {
		return uint16(raw)
	}
	return uint16(raw >> 16)
}

func bit(on bool) uint32 {
	if on {
		return 1
	}
	return 0
}
