package counters

import (
	"math"
	"time"

	"pumpside/drivers"
	"pumpside/drivers/quantity"
)

// Step advances s by b and appends to events what became known by it. The
// batches of one boot come in the order of their instants: one that is
// earlier than what was already stepped is left out. Only good readings
// count. set must be checked; events may be nil.
func Step(set *Settings, s *State, b *drivers.Batch, events []Event) []Event {
	now := momentOf(&b.At)
	switch {
	case s.Version == 0:
		s.Version, s.Boot, s.Frame.Now = version, b.At.Boot, now
	case b.At.Boot != s.Boot:
		events = s.count(set, events)
		s.reboot(b.At.Boot, now)
	case now.At < s.Frame.Now.At:
		return events
	case now.At > s.Frame.Now.At:
		events = s.count(set, events)
		s.Frame.Now = now
	}
	s.Frame.take(set.Installed, b.Readings)
	return events
}

// mostValue is beyond every signal, and every sum of it stays finite.
const mostValue = 1e15

// take adds the good readings of signals the pump has.
func (f *frame) take(installed Signals, readings []drivers.Reading) {
	for i := range readings {
		r := &readings[i]
		if r.Quality != drivers.Good || r.Signal >= drivers.SignalCount || slotOf[r.Signal] == 0 || !installed.Has(r.Signal) {
			continue
		}
		k := slotOf[r.Signal] - 1
		if !(math.Abs(r.Value) <= mostValue) || k == status && r.Value == float64(drivers.DriveUnknown) { // NaN is not either
			continue
		}
		f.Values[k] = r.Value
		f.Fresh |= 1 << k
	}
}

// count counts the frame, whose instant is over. What is measured beside the
// drive comes first, for it witnesses; what needs to know whether the pump ran
// comes last.
func (s *State) count(set *Settings, events []Event) []Event {
	fresh, t := s.Frame.Fresh, s.Frame.Now.At
	if fresh == 0 {
		return events
	}
	v := &s.Frame.Values
	stood := s.stands(set, t)
	delivered := s.measure(set, fresh, t)
	if fresh&drive != 0 {
		for k := status; k <= bypass; k++ {
			if fresh.has(k) {
				s.Seen.put(k, t, v[k])
			}
		}
		events = s.judge(set, t, events)
	}
	if !stood || !s.stands(set, t) {
		s.deliver(set, delivered)
	}
	if fresh.has(pulses) {
		events = s.readPulses(set, t, v[pulses], events)
	}
	if fresh.has(volume) {
		events = s.readVolume(set, t, v[volume], events)
	}
	if fresh.has(hourMeter) {
		events = s.readHours(set, t, v[hourMeter], events)
	}
	s.Frame.Fresh, *v = 0, [slotN]float64{}
	return events
}

// measure takes in the readings of instruments at t. It counts energy at once
// and returns the volume the flow meter saw pass since its last reading.
func (s *State) measure(set *Settings, fresh slots, t time.Duration) (volume float64) {
	v := &s.Frame.Values
	if fresh.has(power) {
		if set.Switched && s.isOn(auxiliary, t, set.MaxGap) != Yes {
			v[power] = 0 // another motor's
		}
		s.Counted.Energy += quantity.Joules(s.between(power, t, v[power], set.MaxGap))
		s.Seen.put(power, t, v[power])
	}
	if fresh.has(flow) {
		volume = s.between(flow, t, v[flow], set.MaxGap)
		s.Seen.put(flow, t, v[flow])
	}
	if fresh.has(flowSwitch) {
		s.Seen.put(flowSwitch, t, v[flowSwitch])
	}
	if fresh.has(pressure) {
		s.Ripple.add(t, float32(v[pressure]))
		s.Seen.put(pressure, t, v[pressure])
	}
	if fresh.has(pulses) && (!s.Seen.Have.has(pulses) || s.Seen.Values[pulses] != v[pulses]) {
		s.Turns.Moved = t
	}
	return volume
}

// between integrates k from its last good reading to the value v at t by the
// trapezoid of the two; 0 if they are too far apart or it falls below 0.
func (s *State) between(k slot, t time.Duration, v float64, maxGap time.Duration) float64 {
	before, ok := s.Seen.value(k, t, maxGap)
	if !ok {
		return 0
	}
	return max(0, (before+v)/2*(t-s.Seen.At[k]).Seconds())
}
