package counters

import (
	"math"
	"time"

	"pumpside/drivers"
)

// A verdict is what the signals say of the motor at one instant.
type verdict struct {
	Own    Answer // the drive runs the motor
	Motor  Answer // the motor is run, by the drive or past it
	Agrees bool   // no witness contradicts Motor
}

// evidence weighs what is known at t.
func (s *State) evidence(set *Settings, t time.Duration) verdict {
	v := verdict{Own: s.ownWord(set, t)}
	v.Motor = v.Own
	bypassed := No
	if set.Installed.Has(drivers.BypassContactor) {
		bypassed = s.isOn(bypass, t, set.MaxGap)
		v.Motor = either(v.Own, bypassed)
	}
	w := s.witnessed(set, t, v.Motor, bypassed == Yes)
	v.Agrees = w == Unknown || w == v.Motor
	return v
}

// ownWord is what the drive says: all of status (or, without one, the
// contactor) and speed, as far as the pump has them.
func (s *State) ownWord(set *Settings, t time.Duration) Answer {
	a := Yes
	if set.Switched {
		if a = s.isOn(auxiliary, t, set.MaxGap); a == No {
			return No // the drive runs another motor, if any
		}
	}
	switch in := set.Installed; {
	case in.Has(drivers.DriveStatus):
		a = a.and(s.test(status, t, set.MaxGap, func(v float64) bool { return v == float64(drivers.DriveRunning) }))
	case in.Has(drivers.ContactorAuxiliary):
		a = a.and(s.isOn(auxiliary, t, set.MaxGap))
	}
	if rpm, installed, ok := s.measuredSpeed(set, t); installed {
		if !ok {
			return a.and(Unknown)
		}
		return a.and(answer(rpm >= float64(set.SpeedThreshold)))
	}
	return a
}

// measuredSpeed is the motor's speed without its sign, in rpm, if the pump
// has a signal for it and that is good.
func (s *State) measuredSpeed(set *Settings, t time.Duration) (rpm float64, installed, ok bool) {
	switch in := set.Installed; {
	case in.Has(drivers.MotorSpeed):
		rpm, ok = s.Seen.value(speed, t, set.MaxGap)
		return math.Abs(rpm), true, ok
	case in.Has(drivers.DriveFrequency):
		hertz, ok := s.Seen.value(frequency, t, set.MaxGap)
		return math.Abs(hertz) * float64(set.PerHertz), true, ok
	}
	return 0, false, false
}

// test asks the last value of k, if it is fresh.
func (s *State) test(k slot, t, age time.Duration, yes func(float64) bool) Answer {
	v, ok := s.Seen.value(k, t, age)
	if !ok {
		return Unknown
	}
	return answer(yes(v))
}

func (s *State) isOn(k slot, t, age time.Duration) Answer {
	return s.test(k, t, age, func(v float64) bool { return v != 0 })
}

// either is yes if one of a and b is, and no only if both are.
func either(a, b Answer) Answer {
	switch {
	case a == Yes || b == Yes:
		return Yes
	case a == Unknown || b == Unknown:
		return Unknown
	}
	return No
}

// witnessed is the second opinion on motor. One witness that agrees is enough,
// for each has its own reason to be silent: a meter shows no flow while the
// pump is unprimed, and flow of another pump on the header while it stands.
// Unknown means that there is no witness to ask.
func (s *State) witnessed(set *Settings, t time.Duration, motor Answer, bypassed bool) Answer {
	opinion := Unknown
	ask := func(a Answer) {
		if a == motor || opinion == Unknown {
			opinion = a
		}
	}
	ask(s.powerWord(set, t, bypassed))
	ask(s.flowWord(set, t))
	if set.Installed.Has(drivers.GlycolFlowSwitch) {
		ask(s.isOn(flowSwitch, t, set.DisputeAfter))
	}
	ask(s.rippleWord(set, t))
	ask(s.pulseWord(set, t))
	return opinion
}

// powerWord: past its drive the motor's power is out of the drive's sight, so
// then a low one says nothing.
func (s *State) powerWord(set *Settings, t time.Duration, bypassed bool) Answer {
	if set.WitnessPower == 0 {
		return Unknown
	}
	a := s.test(power, t, set.DisputeAfter, func(v float64) bool { return v >= float64(set.WitnessPower) })
	if bypassed && a == No {
		return Unknown
	}
	return a
}

func (s *State) flowWord(set *Settings, t time.Duration) Answer {
	if set.WitnessFlow == 0 {
		return Unknown
	}
	return s.test(flow, t, set.DisputeAfter, func(v float64) bool { return v >= float64(set.WitnessFlow) })
}

func (s *State) rippleWord(set *Settings, t time.Duration) Answer {
	if _, fresh := s.Seen.value(pressure, t, set.DisputeAfter); set.WitnessRipple == 0 || !fresh {
		return Unknown
	}
	swing, ok := s.Ripple.swing()
	if !ok {
		return Unknown
	}
	return answer(float64(swing) >= float64(set.WitnessRipple))
}

// pulseQuiet is how long a shaft that turns may take to show one more pulse.
const pulseQuiet = 15 * time.Second

func (s *State) pulseWord(set *Settings, t time.Duration) Answer {
	if _, fresh := s.Seen.value(pulses, t, set.DisputeAfter); !fresh {
		return Unknown
	}
	return answer(t-s.Turns.Moved <= pulseQuiet)
}
