package simulator

import "math"

// The states of the drive and its motor.
type driveState uint8

const (
	driveReady    driveState = iota // no run command, motor at rest
	driveEnabled                    // output stage on: accelerating, running, ramping down
	driveReaction                   // fault reaction
	driveFault                      // tripped; the motor coasts
)

// Status words of IEC 61800-7-201: bit 0 ready to switch on, 1 switched on,
// 2 operation enabled, 3 fault, 4 voltage, 5 quick stop not active, 9 remote,
// 10 target reached.
var statusWords = [...]uint16{
	driveReady:    0x0231,
	driveEnabled:  0x0237,
	driveReaction: 0x021f,
	driveFault:    0x0208,
}

const targetReached = 1 << 10

// A drive is the frequency converter with its motor.
type drive struct {
	state     driveState
	command   bool
	bypass    bool // motor on the mains
	faultCode uint16
	target    float64 // motor rpm without load
	command0  float64 // motor rpm without load, ramped
	wander    float64 // over the speed
	speed     float64 // motor rpm
	shown     float64 // filtered estimate of speed
	slip      float64 // rpm
	torque    float64 // N·m of the motor
	power     float64 // W into the motor
	runHours  float64
	onHours   float64
	energy    float64 // J
}

const (
	rotor      = 0.3  // s, time constant of the speed under a changing load
	coast      = 0.6  // s, time constant of a motor that is switched off
	mains      = 1500 // rpm of a four-pole motor at 50 Hz
	mainsStart = 0.2  // s
	motorPart  = 0.87 // electrical efficiency of motor and drive
	noLoadPart = 0.06 // of rated torque: bearings, gear, churning oil
)

// step advances the drive by dt seconds. rate is the ramp in rpm/s, filter the
// time constant of the shown speed.
func (d *drive) step(dt, rate, filter float64) {
	switch {
	case d.state == driveReaction:
		d.state = driveFault
	case d.state == driveReady && d.command:
		d.state = driveEnabled
	case d.state == driveEnabled && !d.command && d.command0 == 0:
		d.state = driveReady
	}
	switch {
	case d.bypass:
		d.command0 = 0
		d.speed = toward(d.speed, mains-d.slip, mainsStart)
	case d.state == driveEnabled:
		goal := d.target
		if !d.command {
			goal = 0
		}
		d.command0 += math.Max(-rate*dt, math.Min(rate*dt, goal-d.command0))
		d.speed = math.Max(0, d.command0*(1+d.wander)-d.slip)
	default:
		d.command0 = 0
		d.speed *= 1 - dt/coast
		if d.speed < 1 {
			d.speed = 0
		}
	}
	seen := d.speed
	if d.bypass {
		seen = 0
	}
	d.shown = toward(d.shown, seen, filter)
}

func (d *drive) trip(code uint16) {
	d.state, d.faultCode = driveReaction, code
}

func (d *drive) reset() {
	if d.state == driveFault {
		d.state, d.faultCode = driveReady, 0
	}
}

func (d *drive) statusWord() uint16 {
	w := statusWords[d.state]
	if d.state == driveEnabled && d.command && d.command0 == d.target {
		w |= targetReached
	}
	return w
}

// steady reports whether the speed stays: at its target, or at rest.
func (d *drive) steady() bool {
	switch {
	case d.bypass:
		return d.speed > 0.99*(mains-d.slip)
	case d.speed == 0:
		return true
	}
	return d.state == driveEnabled && d.command && d.command0 == d.target
}

// drives reports whether the motor has current, from the drive or the mains.
func (d *drive) drives() bool { return d.bypass || d.state == driveEnabled }
