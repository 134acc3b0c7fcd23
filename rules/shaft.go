package rules

import (
	"math"
	"time"

	"pumpside/drivers"
	"pumpside/drivers/quantity"
	"pumpside/rules/alarm"
	"pumpside/rules/orders"
)

func (o *observer) forgetShaft(set *Settings, s *State) {
	o.hasCount, o.speedAt, o.speed, o.placed = false, 0, 0, false
	o.forgetAngle(set, s)
	if o.window != nil {
		o.window.Reset()
	}
}

// forgetAngle lets go of where the shaft stands. What the ripple's direction
// from the index mark is in this band stays known.
func (o *observer) forgetAngle(set *Settings, s *State) {
	o.survey.Reset()
	o.track = orders.Track{}
	o.recallRipple(set, s)
}

// recallRipple takes the ripple's direction for what it was last seen to be in
// the band the pump works in.
func (o *observer) recallRipple(set *Settings, s *State) {
	n := set.Geometry.Cylinders
	o.track.Recall(o.referenceOf(s, n), o.blocksOf(s, n))
}

// shaft notes since when the speed is steady.
func (o *observer) shaft(set *Settings, s *State, now time.Duration) {
	const steady = 0.015
	speed, known := s.steadySpeed(set)
	if !known {
		return
	}
	if !o.placed { // it may have turned so for hours
		o.speed, o.speedAt, o.settled, o.placed = speed, now, speed, true
	}
	if math.Abs(speed-o.speed) > steady*math.Max(o.speed, 20) {
		o.speed, o.speedAt, o.moved = speed, now, true
	}
	if o.moved && now-o.speedAt > rampEnds {
		o.moved, o.settled = false, o.speed
		o.surveyed(set, s)
	}
}

// Ramping is whether the shaft starts, stops or changes speed, in a pump whose
// line can be measured by it.
func (s *State) Ramping() bool {
	const (
		start  = 0.03 // of rated speed, from rest
		change = 0.10
	)
	o := &s.observer
	if !o.ready || !o.moved || !o.model.Geometry.NamesCylinders() {
		return false
	}
	rated := float64(o.model.Geometry.RatedSpeed)
	by := math.Abs(o.speed - o.settled)
	return by > change*rated || o.settled < start*rated && by > start*rated
}

// steadySpeed is the shaft's speed in rpm by what tells it most smoothly: the
// drive's speed or frequency, or the rating of a motor without a drive. A pulse
// count of one a turn, polled, jumps by whole turns.
func (s *State) steadySpeed(set *Settings) (rpm float64, ok bool) {
	if motor, known := s.newest(set, drivers.MotorSpeed); known && set.Geometry.Ratio > 0 {
		return math.Abs(motor) / float64(set.Geometry.Ratio), true
	}
	if s.status.ByMotor > 0 {
		return float64(s.status.ByMotor), true
	}
	return float64(s.status.ShaftSpeed), s.status.SpeedKnown
}

// surveyed measures the line from the ramp that has just ended.
func (o *observer) surveyed(set *Settings, s *State) {
	g := &o.model.Geometry
	if g.NamesCylinders() && !s.Observed.Unconfirmed {
		o.survey.Measure(o.model, o.against(set, s), &s.Observed.Line)
	}
	o.survey.Reset()
}

// against is the pressure the pump works against: where it works, or before
// that was seen, what is read.
func (o *observer) against(set *Settings, s *State) quantity.Pascals {
	if o.operating.Pressure > 0 {
		return o.operating.Pressure
	}
	p, _ := s.newest(set, drivers.DischargePressure)
	return quantity.Pascals(p)
}

// calm is whether the pump has turned at one speed for a while, and is not
// settling after service.
func (o *observer) calm(s *State) bool {
	running, since := s.running()
	return running == alarm.Yes && since >= calmFor && s.moment.At.SinceBoot-o.speedAt >= calmFor &&
		s.moment.Logic&alarm.AfterService == 0
}

// index unwraps the pulse count, whose register may roll over at 16 or 32 bit.
func (o *observer) index(set *Settings, s *State, b *drivers.Batch, count float64) {
	per := set.Geometry.Index.PulsesPerRevolution
	if !(per > 0) {
		return
	}
	at := b.At.SinceBoot
	step := count - o.count
	if o.hasCount && step < 0 {
		for _, size := range [...]float64{1 << 16, 1 << 32} {
			if o.count < size && step < 0 {
				step += size
			}
		}
	}
	most := 3 + 2*(at-o.countAt).Seconds()*math.Max(float64(s.status.ShaftSpeed), float64(set.Geometry.RatedSpeed))/60*per
	if !o.hasCount || step < 0 || step > most {
		o.turns, step = 0, 0
		o.forgetAngle(set, s)
	} else if step == 1 {
		middle := (at + o.countAt) / 2
		o.survey.AddMark(middle.Seconds(), (o.turns+step)/per)
	}
	o.turns += step
	o.count, o.countAt, o.hasCount = count, at, true
	if o.window != nil {
		o.window.AddAngle(at, b.HalfWidth, o.turns/per, (o.turns+1)/per)
	}
}
