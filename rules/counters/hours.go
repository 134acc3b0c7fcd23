package counters

import (
	"math"
	"time"
)

// stillMargin is how long a drive must have been seen stopped before a tick
// of its meter says that the meter counts something else: meters and the
// gateways before them show a tick late.
const stillMargin = time.Minute

// hours is what is known of the drive's hour meter.
type hours struct {
	Seen     bool          `json:"seen,omitempty"`
	Kind     MeterKind     `json:"kind,omitempty"`     // as found out; else the settings' word holds
	Unbroken bool          `json:"unbroken,omitempty"` // no gap since it was last read
	Raw      time.Duration `json:"raw,omitempty"`      // as last read
	Value    time.Duration `json:"value,omitempty"`    // the same without rollovers

	DriveRun   time.Duration `json:"drive_run,omitempty"`   // our own count of what the meter counts, witnessed or not
	Still      time.Duration `json:"still,omitempty"`       // how long the drive has been seen stopped
	QuietSince time.Duration `json:"quiet_since,omitempty"` // since when the meter has been seen not to tick

	Offset span `json:"offset"` // within: the meter's true value minus DriveRun
	Base   span `json:"base"`   // Offset before the gap that is open

	Awaiting awaiting `json:"waiting"`
	Doubt    doubt    `json:"doubt"`
}

// awaiting is what closed gaps hold if only the meter counts run hours.
type awaiting struct {
	Run        time.Duration `json:"run,omitempty"`
	Unobserved time.Duration `json:"unobserved,omitempty"` // that the run time was taken for
	Loose      time.Duration `json:"loose,omitempty"`      // part of Run: in gaps whose length is not known
	Turns      float64       `json:"turns,omitempty"`      // reckoned
}

// A doubt is a reading that cannot follow the one before. It takes a second
// one to tell a new meter from a garbled answer.
type doubt struct {
	Raised bool          `json:"raised,omitempty"`
	Raw    time.Duration `json:"raw,omitempty"`
	At     time.Duration `json:"at,omitempty"`
}

// A span is an interval, ends included.
type span struct {
	Lo time.Duration `json:"lo,omitempty"`
	Hi time.Duration `json:"hi,omitempty"`
}

// meet is what a and b have in common. If that is nothing, the meter and our
// count have drifted (a drive counts its ramps, we do not): a moves to b.
func (a span) meet(b span) span {
	width := a.Hi - a.Lo
	switch {
	case b.Lo > a.Hi:
		return span{b.Lo, min(b.Lo+width, b.Hi)}
	case b.Hi < a.Lo:
		return span{max(b.Hi-width, b.Lo), b.Hi}
	}
	return span{max(a.Lo, b.Lo), min(a.Hi, b.Hi)}
}

// observe counts d of observed time.
func (h *hours) observe(driveRuns bool, d time.Duration) {
	if driveRuns {
		h.DriveRun += d
		h.Still = 0
		return
	}
	h.Still += d
}

func (h *hours) kind(set *Settings) MeterKind {
	if h.Kind != KindUnknown {
		return h.Kind
	}
	return set.HourMeter.Kind
}

// readHours takes in a reading of the hour meter. One that comes before the
// drive has told whether it runs is left out.
func (s *State) readHours(set *Settings, t time.Duration, seconds float64, events []Event) []Event {
	if !s.unbroken(set, t) || seconds < 0 || seconds > longestMeter.Seconds() {
		return events
	}
	h := &s.Hours
	raw := time.Duration(math.Round(seconds*1e3)) * tick
	if !h.Seen {
		s.startMeter(set, t, raw)
		return events
	}
	step, rolled, ok := s.meterStep(set, t, raw)
	if !ok {
		return s.doubtMeter(set, t, raw, events)
	}
	if rolled {
		events = append(events, s.meterEvent(MeterRolledOver, raw))
	}
	ticked := step >= set.HourMeter.Resolution/2
	if ticked || !h.Unbroken {
		h.QuietSince = t
	}
	events = s.tellKind(set, t, raw, ticked, events)
	h.Raw, h.Value, h.Doubt = raw, h.Value+step, doubt{}
	if h.kind(set) == PowerOnHours {
		s.boundGap(set, step)
	} else {
		h.Offset = h.Offset.meet(s.offset(set, t))
		events = s.explain(set, t, ticked && h.Unbroken, events)
	}
	h.Unbroken = true
	s.Seen.put(hourMeter, t, seconds)
	return events
}

// startMeter begins with a meter of which nothing is known yet.
func (s *State) startMeter(set *Settings, t, raw time.Duration) {
	h := &s.Hours
	*h = hours{Seen: true, Unbroken: true, Raw: raw, Value: raw, QuietSince: t, DriveRun: h.DriveRun}
	h.Offset = s.offset(set, t)
	s.Seen.put(hourMeter, t, raw.Seconds())
}

// offset is what the reading alone says of the meter's true value minus our
// count. Our count ends at the last word of the drive.
func (s *State) offset(set *Settings, t time.Duration) span {
	h, since := &s.Hours, time.Duration(0)
	if s.Running.Own {
		since = t - s.Running.At.At
	}
	return span{h.Value - h.DriveRun - since, h.Value - h.DriveRun + set.HourMeter.Resolution}
}

// meterStep is how far the meter moved since it was last read, and whether
// that is possible.
func (s *State) meterStep(set *Settings, t, raw time.Duration) (step time.Duration, rolled, ok bool) {
	m := &set.HourMeter
	step = raw - s.Hours.Raw
	possible := t - s.Seen.At[hourMeter] + m.slack(set)
	if s.Seen.Across.has(hourMeter) {
		possible += set.LongestGap
	}
	if over := m.rollover(); over > 0 && step < -m.Resolution {
		step += over
		rolled = true
	}
	return step, rolled, step >= -m.Resolution && step <= possible
}

// slack is how much a right meter can seem wrong.
func (m *HourMeter) slack(set *Settings) time.Duration { return m.Resolution + 2*set.MaxGap }

// doubtMeter waits for a second reading that fits the first.
func (s *State) doubtMeter(set *Settings, t, raw time.Duration, events []Event) []Event {
	d := &s.Hours.Doubt
	if !d.Raised || (raw-d.Raw).Abs() > t-d.At+set.HourMeter.slack(set) {
		*d = doubt{true, raw, t}
		return events
	}
	events = append(events, s.meterEvent(MeterReplaced, raw))
	s.closeGap(false)
	s.startMeter(set, t, raw)
	return events
}

func (s *State) meterEvent(kind Kind, raw time.Duration) Event {
	return Event{Kind: kind, At: s.instant(), Meter: DriveHours, From: s.Hours.Raw.Seconds(), To: raw.Seconds()}
}

// tellKind finds out what the meter counts: one that ticks while the drive is
// seen stopped counts power-on hours, one that stands still with it for longer
// than it takes to tick counts run hours.
func (s *State) tellKind(set *Settings, t, raw time.Duration, ticked bool, events []Event) []Event {
	h := &s.Hours
	switch kind := h.kind(set); {
	case kind == PowerOnHours || !h.Unbroken:
	case ticked && h.Still >= t-s.Seen.At[hourMeter]+stillMargin:
		h.Kind, h.Awaiting = PowerOnHours, awaiting{}
		s.closeGap(false)
		return append(events, s.meterEvent(MeterPowerOn, raw))
	case kind == KindUnknown && min(h.Still, t-h.QuietSince) >= set.HourMeter.slack(set):
		h.Kind = RunHours
		events = append(events, Event{Kind: MeterRun, At: s.instant(), For: h.Still, Meter: DriveHours})
		if a := h.Awaiting; a.Run > 0 {
			events = append(events, s.creditAwaiting(set, a))
		}
	}
	return events
}
