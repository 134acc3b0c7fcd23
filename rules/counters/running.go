package counters

import "time"

// running is what is known of the motor, as of the last reading that told.
type running struct {
	Known  bool    `json:"known,omitempty"` // there was such a reading
	At     moment  `json:"at"`              // when
	Motor  bool    `json:"motor,omitempty"` // it was run
	Own    bool    `json:"own,omitempty"`   // by its drive
	Agrees bool    `json:"agrees,omitempty"`
	RPM    float64 `json:"rpm,omitempty"`   // of the motor
	Usual  float32 `json:"usual,omitempty"` // RPM while its drive ran it, the mean of the last hour or so; not since a gap that is open

	Flipped  time.Duration `json:"flipped,omitempty"`  // when Motor was first seen as it is
	Sharp    bool          `json:"sharp,omitempty"`    // it was seen to change then
	Settled  Answer        `json:"settled,omitempty"`  // the last Motor that nothing contradicted
	Since    time.Duration `json:"since,omitempty"`    // when it became that
	Exact    bool          `json:"exact,omitempty"`    // it was seen to change then, and without a gap since
	Disputed bool          `json:"disputed,omitempty"` // the disagreement has lasted
}

// held is what waits for the drive and its witnesses to agree.
type held struct {
	Run     time.Duration `json:"run,omitempty"`
	Stopped time.Duration `json:"stopped,omitempty"`
	Turns   float64       `json:"turns,omitempty"`
	Dispute time.Duration `json:"dispute,omitempty"` // not held any more: unobserved since the dispute
}

// judge weighs the evidence of the frame at t, counts the time since the last
// such frame by what that one said, and takes over what this one says.
func (s *State) judge(set *Settings, t time.Duration, events []Event) []Event {
	v := s.evidence(set, t)
	if v.Motor == Unknown {
		return events
	}
	r := &s.Running
	rpm := s.motorSpeed(set, t, v)
	motor := v.Motor == Yes
	unbroken := s.unbroken(set, t)
	if !r.Known || r.Motor != motor {
		r.Flipped, r.Sharp = t, unbroken
	}
	switch {
	case unbroken:
		s.segment(set, t-r.At.At, motor, (r.RPM+rpm)/2)
	case r.Known:
		events = s.unobserved(set, t, events)
	}
	r.Known, r.At, r.Motor, r.Own, r.Agrees, r.RPM = true, s.Frame.Now, motor, v.Own == Yes, v.Agrees, rpm
	events = s.dateLate(events)
	if v.Agrees {
		return s.settle(set, v.Motor, events)
	}
	return s.doubt(set, events)
}

// motorSpeed is the speed to count revolutions with, in rpm.
func (s *State) motorSpeed(set *Settings, t time.Duration, v verdict) float64 {
	rpm, installed, ok := s.measuredSpeed(set, t)
	switch {
	case installed && v.Own != No && ok:
		return rpm
	case v.Motor == Yes:
		return float64(set.RatedSpeed)
	case ok && !set.Switched: // else it is another motor's
		return rpm
	}
	return 0
}

// segment counts the time d between two readings. The earlier one says what
// it was; the speed is the mean of both.
func (s *State) segment(set *Settings, d time.Duration, motor bool, rpm float64) {
	r, c := &s.Running, &s.Counted
	turned := 0.0
	if r.Motor || motor {
		turned = rpm / 60 * d.Seconds() / float64(set.Ratio)
	}
	switch {
	case r.Agrees:
		*pick(r.Motor, &c.Run, &c.Stopped) += d
		s.turned(set, turned)
		if r.Own && motor && !s.Gap.Open {
			s.learnUsual(d, rpm)
		}
	case r.Disputed:
		c.Unobserved += d
		c.AtMost += d
		s.Held.Dispute += d
	default:
		*pick(r.Motor, &s.Held.Run, &s.Held.Stopped) += d
		s.Held.Turns += turned
	}
	s.Hours.observe(r.Own, d)
}

// usualOver is the running over which the usual speed is the mean.
const usualOver = time.Hour

func (s *State) learnUsual(d time.Duration, rpm float64) {
	r := &s.Running
	share := d.Seconds() / min(s.Counted.Run, usualOver).Seconds()
	if r.Usual == 0 {
		share = 1
	}
	r.Usual += float32(share * (rpm - float64(r.Usual)))
}

func pick[T any](first bool, a, b T) T {
	if first {
		return a
	}
	return b
}

// settle credits what was held back, for the drive and its witnesses agree.
func (s *State) settle(set *Settings, motor Answer, events []Event) []Event {
	r, h := &s.Running, &s.Held
	if h.Run+h.Stopped > 0 {
		s.Counted.Run += h.Run
		s.Counted.Stopped += h.Stopped
		s.turned(set, h.Turns)
	}
	if r.Disputed {
		events = append(events, Event{Kind: Resolved, At: s.instant(), For: h.Dispute})
		r.Disputed = false
	}
	*h = held{}
	if motor == r.Settled {
		return events
	}
	events = s.changed(motor, events)
	r.Settled, r.Since, r.Exact = motor, r.Flipped, r.Sharp
	return events
}

// changed tells of a start or a stop. What was first seen running did not
// start.
func (s *State) changed(motor Answer, events []Event) []Event {
	r := &s.Running
	if r.Settled == Unknown {
		return events
	}
	e := Event{Kind: Stopped, At: s.instant()}
	if motor == Yes {
		e.Kind = Started
		s.Counted.Starts++
		s.Starts.add(r.Flipped)
	}
	if r.Exact {
		e.For = r.Flipped - r.Since
	}
	return append(events, e)
}

// doubt moves what was held back to the unobserved time once the
// disagreement has lasted.
func (s *State) doubt(set *Settings, events []Event) []Event {
	r, h := &s.Running, &s.Held
	lasted := h.Run + h.Stopped
	if r.Disputed || lasted < set.DisputeAfter {
		return events
	}
	r.Disputed = true
	s.Counted.Unobserved += lasted
	s.Counted.AtMost += lasted
	*h = held{}
	return append(events, Event{Kind: Disputed, At: s.instant(), For: lasted})
}

// unbroken reports whether the time from the last reading that told of the
// motor to t counts as observed.
func (s *State) unbroken(set *Settings, t time.Duration) bool {
	return s.Running.Known && !s.Gap.Rebooted && t-s.Running.At.At <= set.MaxGap
}

// stands reports whether the pump is known to stand still at t.
func (s *State) stands(set *Settings, t time.Duration) bool {
	r := &s.Running
	return !r.Motor && r.Agrees && s.unbroken(set, t)
}

// StartsKept is how many starts of the last hour are counted at most.
const StartsKept = 16

// starts keeps the times of the last starts within an hour, newest last.
type starts struct {
	N  uint8                     `json:"n,omitempty"`
	At [StartsKept]time.Duration `json:"at"`
}

func (s *starts) add(t time.Duration) {
	old := int(s.N) - s.since(t-time.Hour)
	if old == 0 && int(s.N) == len(s.At) {
		old = 1
	}
	kept := starts{N: s.N - uint8(old)}
	copy(kept.At[:], s.At[old:s.N])
	kept.At[kept.N] = t
	kept.N++
	*s = kept
}

// since counts the starts later than t, up to as many as are kept.
func (s *starts) since(t time.Duration) (n int) {
	for _, at := range s.At[:s.N] {
		if at > t {
			n++
		}
	}
	return n
}
