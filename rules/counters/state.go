package counters

import (
	"time"

	"pumpside/drivers"
	"pumpside/drivers/quantity"
)

// version is that of the State's stored forms.
const version = 2

// An Answer is yes, no, or not known.
type Answer uint8

// The answers; the zero Answer is Unknown.
const (
	Unknown Answer = iota
	No
	Yes
)

var answerWords = [...]string{"unknown", "no", "yes"}

// String gives the word for a.
func (a Answer) String() string { return word(answerWords[:], uint8(a)) }

// and is no if either is no, yes if both are.
func (a Answer) and(b Answer) Answer {
	switch {
	case a == No || b == No:
		return No
	case a == Unknown || b == Unknown:
		return Unknown
	}
	return Yes
}

func answer(yes bool) Answer {
	if yes {
		return Yes
	}
	return No
}

// Counted are the totals as they stand in a State. Run, Stopped and
// Unobserved, with what is held back, add up to the time between the first
// and the last reading that told whether the motor runs, as far as its length
// is known.
type Counted struct {
	Run        time.Duration `json:"run"`
	Stopped    time.Duration `json:"stopped"`
	Unobserved time.Duration `json:"unobserved"`

	// What of the unobserved time may have been run time. With Unbounded
	// above 0 so many gaps had a length nobody knows, and AtMost misses them.
	AtLeast   time.Duration `json:"at_least"`
	AtMost    time.Duration `json:"at_most"`
	Unbounded uint32        `json:"unbounded"`

	FromMeter      time.Duration `json:"from_meter"`       // part of Run: credited from the hour meter; Unobserved was that much more before
	FromMeterLoose time.Duration `json:"from_meter_loose"` // part of FromMeter: in gaps whose length is not known

	Revolutions float64              `json:"revolutions"`        // of the pump shaft; strokes of each plunger
	Reckoned    float64              `json:"reckoned,omitempty"` // part of Revolutions: not counted, but the meter's hours at the usual speed before the gap
	Starts      uint64               `json:"starts"`
	Pumped      quantity.CubicMeters `json:"pumped"`
	Energy      quantity.Joules      `json:"energy"`
}

// A State is what is remembered of one pump. It is a plain value: copy it to
// keep it, compare it with ==. The zero State has seen nothing.
//
// Times are since the boot of Boot and may be negative: what happened before.
type State struct {
	Version int    `json:"v"`
	Boot    string `json:"boot"`

	Counted Counted `json:"counted"`
	Frame   frame   `json:"frame"`
	Seen    seen    `json:"seen"`
	Running running `json:"running"`
	Held    held    `json:"held"`
	Gap     gap     `json:"gap"`
	Hours   hours   `json:"hours"`
	Turns   turns   `json:"turns"`
	Ripple  ripple  `json:"ripple"`
	Starts  starts  `json:"starts"`
}

// A moment is an instant of the boot the State is in.
type moment struct {
	At           time.Duration `json:"at"`
	Wall         int64         `json:"wall"` // Unix nanoseconds
	Synchronized bool          `json:"sync,omitempty"`
}

// tick is the resolution of every time that is kept. Readings are not known
// to be true to a millisecond, and times in whole ones take half the room.
const tick = time.Millisecond

func momentOf(at *drivers.Instant) moment {
	return moment{At: at.SinceBoot.Truncate(tick), Wall: at.Wall.UnixMilli() * int64(tick), Synchronized: at.Synchronized}
}

// A frame is the instant being filled: it is counted when a later one begins.
type frame struct {
	Now    moment         `json:"now"`
	Fresh  slots          `json:"fresh,omitempty"` // which were read good
	Values [slotN]float64 `json:"values"`
}

// seen holds the last good reading of each slot that has been counted.
type seen struct {
	Have   slots                `json:"have,omitempty"`
	Across slots                `json:"across,omitempty"` // of Have: read in another boot, who knows how long ago
	Values [slotN]float64       `json:"values"`
	At     [slotN]time.Duration `json:"at"`
}

// A slot is a signal that counts.
type slot uint8

const (
	status slot = iota
	speed
	frequency
	auxiliary
	bypass
	power
	flow
	flowSwitch
	pressure
	pulses
	volume
	hourMeter
	slotN
)

// slots is a set of them.
type slots uint16

const (
	drive   = 1<<status | 1<<speed | 1<<frequency | 1<<auxiliary | 1<<bypass // tell whether the motor runs
	metered = 1<<pulses | 1<<volume | 1<<hourMeter                           // go on while nobody looks
)

func (set slots) has(k slot) bool { return set>>k&1 == 1 }

// slotOf gives one more than the slot of a signal, 0 for signals that do not
// count.
var slotOf = [drivers.SignalCount]slot{
	drivers.DriveStatus:        status + 1,
	drivers.MotorSpeed:         speed + 1,
	drivers.DriveFrequency:     frequency + 1,
	drivers.ContactorAuxiliary: auxiliary + 1,
	drivers.BypassContactor:    bypass + 1,
	drivers.MotorPower:         power + 1,
	drivers.GlycolFlow:         flow + 1,
	drivers.GlycolFlowSwitch:   flowSwitch + 1,
	drivers.DischargePressure:  pressure + 1,
	drivers.ShaftIndex:         pulses + 1,
	drivers.GlycolVolume:       volume + 1,
	drivers.DriveRunHours:      hourMeter + 1,
}

// put remembers the value of k at t.
func (s *seen) put(k slot, t time.Duration, v float64) {
	s.Have |= 1 << k
	s.Across &^= 1 << k
	s.Values[k], s.At[k] = v, t
}

// value gives the last good value of k, if it is no older at t than age.
func (s *seen) value(k slot, t, age time.Duration) (float64, bool) {
	return s.Values[k], s.Have.has(k) && t-s.At[k] <= age
}

// reboot forgets what is no meter, and how long ago the meters were read.
func (s *seen) reboot() {
	s.Have &= metered
	s.Across = s.Have
	for k := range slotN {
		if !s.Have.has(k) {
			s.Values[k], s.At[k] = 0, 0
		}
	}
}

// newest is the latest time of anything seen; ok is false if nothing was.
func (s *seen) newest() (latest time.Duration, ok bool) {
	for k := range slotN {
		if s.Have.has(k) && (!ok || s.At[k] > latest) {
			latest, ok = s.At[k], true
		}
	}
	return latest, ok
}

// instant gives the frame's moment in the shape events carry.
func (s *State) instant() drivers.Instant {
	now := s.Frame.Now
	return drivers.Instant{Wall: time.Unix(0, now.Wall).UTC(), Boot: s.Boot, SinceBoot: now.At, Synchronized: now.Synchronized}
}
