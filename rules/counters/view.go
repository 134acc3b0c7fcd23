package counters

import (
	"time"

	"pumpside/drivers/quantity"
)

// Totals are what people and rules are told: what was counted, what the pump
// had done before, and the gap that lasts now.
type Totals struct {
	Counted
	StrokesPerPlunger float64 // the same as Revolutions: what valves and diaphragms see
	DischargeStrokes  float64 // of all cylinders
}

// Totals gives the totals as of the last batch. A gap that lasts is part of
// the unobserved time as soon as it is longer than MaxGap; the hour meter may
// turn unobserved time into run time later, so it is Unobserved plus FromMeter
// that never falls; but for a gap that lasts over two reboots, which starts
// again at the second.
func (s *State) Totals(set *Settings) Totals {
	t := Totals{Counted: s.Counted}
	o := &set.Opening
	t.Run += o.Run
	t.Revolutions += o.Revolutions
	t.Starts += o.Starts
	t.Pumped += o.Pumped
	t.Energy += o.Energy
	t.AtMost += s.Gap.Most
	if s.Running.Known && !s.unbroken(set, s.Frame.Now.At) {
		d := s.Frame.Now.At - s.Running.At.At
		t.Unobserved += d
		t.AtMost += d
		if s.Gap.Rebooted {
			t.Unbounded++
		}
	}
	t.AtLeast = min(t.AtLeast, t.AtMost)
	t.StrokesPerPlunger = t.Revolutions
	t.DischargeStrokes = t.Revolutions * float64(set.Cylinders)
	return t
}

// A Status is what is known of the pump at the last batch.
type Status struct {
	Running  Answer        // unknown while disputed, or when no reading told for longer than MaxGap
	Drive    Answer        // what the drive or contactor alone says
	Doubted  bool          // a witness contradicts it
	Disputed bool          // and has for so long that time is not counted
	For      time.Duration // running or stopped for so long
	Exact    bool          // For begins with a change that was seen; else it is longer, or was broken

	StartsLastHour int  // 16 stands for 16 or more
	MeterPowerOn   bool // the hour meter does not count run hours
	IndexDisagrees bool // with the motor's speed

	ShaftSpeed quantity.RevolutionsPerMinute // of the pump; 0 while it is known to stand
	SpeedKnown bool
	// ByMotor is ShaftSpeed by drive or rating, whatever an index says: smooth,
	// but without belt slip. 0 while the motor stands or nothing tells.
	ByMotor quantity.RevolutionsPerMinute
}

// Status gives what is known at the last batch.
func (s *State) Status(set *Settings) Status {
	r, t := &s.Running, s.Frame.Now.At
	st := Status{
		StartsLastHour: s.Starts.since(t - time.Hour),
		MeterPowerOn:   s.Hours.kind(set) == PowerOnHours,
		IndexDisagrees: s.Turns.Disagrees,
	}
	if !s.unbroken(set, t) {
		return st
	}
	st.Drive, st.Doubted, st.Disputed = answer(r.Motor), !r.Agrees, r.Disputed
	if r.Disputed {
		return st
	}
	st.Running = st.Drive
	st.For, st.Exact = t-r.Flipped, r.Sharp
	if r.Agrees {
		st.For, st.Exact = t-r.Since, r.Exact
	}
	st.ShaftSpeed, st.SpeedKnown = s.shaftSpeed(set, t)
	if r.Motor {
		st.ByMotor = quantity.RevolutionsPerMinute(r.RPM / float64(set.Ratio))
	}
	return st
}

// shaftSpeed is the pump's speed: by the index where it is read, else by the
// motor's.
func (s *State) shaftSpeed(set *Settings, t time.Duration) (quantity.RevolutionsPerMinute, bool) {
	if !s.Running.Motor {
		return 0, true
	}
	if _, fresh := s.Seen.value(pulses, t, set.MaxGap); fresh && s.Turns.RPM > 0 {
		return quantity.RevolutionsPerMinute(s.Turns.RPM), true
	}
	rpm := s.Running.RPM / float64(set.Ratio)
	return quantity.RevolutionsPerMinute(rpm), rpm > 0
}
