package counters

import (
	"math"
	"time"

	"pumpside/drivers"
	"pumpside/drivers/quantity"
)

// compareTurns is how many revolutions index and motor speed are compared
// over: the index is right to one pulse at each end.
const compareTurns = 600

// turns is what is known of the shaft. With an index its pulses are counted,
// and the motor's speed stands in while they cannot be read.
type turns struct {
	Moved   time.Duration `json:"moved,omitempty"`    // when the index last showed a new pulse
	BySpeed float64       `json:"by_speed,omitempty"` // revolutions by motor speed since the index was last read
	Lent    float64       `json:"lent,omitempty"`     // of those, counted already
	RPM     float64       `json:"rpm,omitempty"`      // of the pump, by the index
	Lost    time.Duration `json:"lost,omitempty"`     // unobserved time until the index was last read
	Blind   bool          `json:"blind,omitempty"`    // of the open gap, or of a part of it, the index cannot tell
	Unseen  float64       `json:"unseen,omitempty"`   // revolutions by the index in the open gap
	Owed    float64       `json:"owed,omitempty"`     // reckoned over the hour meter's hours, until the index is read

	ByIndex   float64 `json:"by_index,omitempty"` // compared: revolutions by the index
	Beside    float64 `json:"beside,omitempty"`   // and by motor speed
	Disagrees bool    `json:"disagrees,omitempty"`
}

// turned takes n pump revolutions by motor speed.
func (s *State) turned(set *Settings, n float64) {
	if !set.Installed.Has(drivers.ShaftIndex) {
		s.countTurns(set, n)
		return
	}
	s.Turns.BySpeed += n
	if _, fresh := s.Seen.value(pulses, s.Frame.Now.At, set.MaxGap); !fresh {
		if !s.Frame.Fresh.has(pulses) {
			s.takeOwed()
		}
		s.lend(set)
	}
}

// takeOwed takes what is reckoned for turned by motor speed: the index does not
// tell of it.
func (s *State) takeOwed() {
	x := &s.Turns
	x.BySpeed += x.Owed
	s.Counted.Reckoned += x.Owed
	x.Owed = 0
}

// lend counts by motor speed what the index has not told.
func (s *State) lend(set *Settings) {
	if owed := s.Turns.BySpeed - s.Turns.Lent; owed > 0 {
		s.Turns.Lent += owed
		s.countTurns(set, owed)
	}
}

func (s *State) countTurns(set *Settings, n float64) {
	s.Counted.Revolutions += n
	if set.Installed&SignalsOf(drivers.GlycolFlow, drivers.GlycolVolume) == 0 {
		s.Counted.Pumped += quantity.CubicMeters(n * float64(set.Displacement) * float64(set.Efficiency))
	}
}

// readPulses takes in a reading of the index counter. The counter goes on
// while nobody looks, so a gap costs no revolutions unless it is so long that
// the counter may have rolled over twice.
func (s *State) readPulses(set *Settings, t time.Duration, raw float64, events []Event) []Event {
	known, before := s.Seen.Have.has(pulses), s.Seen.Values[pulses]
	elapsed := t - s.Seen.At[pulses]
	most := set.mostPulses(elapsed, s.Seen.Across.has(pulses))
	s.Seen.put(pulses, t, raw)
	if !known {
		s.resetTurns()
		return events
	}
	e := Event{At: s.instant(), Meter: ShaftPulses, From: before, To: raw}
	n, over := raw-before, set.Index.rollover()
	if n < 0 && over > 0 {
		n += over
		e.Kind = MeterRolledOver
	}
	switch {
	case over > 0 && most >= over:
		e.Kind = MeterAmbiguous
	case n < 0 || n > most:
		e.Kind = MeterReplaced
	default:
		if e.Kind != 0 {
			events = append(events, e)
		}
		return s.countPulses(set, n/set.Index.PulsesPerRevolution, elapsed, events)
	}
	s.takeOwed()
	s.lend(set)
	s.Turns.Blind = s.Turns.Blind || s.Gap.Open && s.lostSinceIndex() > 0
	s.resetTurns()
	s.Turns.RPM = 0
	return append(events, e)
}

// mostPulses is the most the index can have counted in elapsed. Two more for
// the ends, and five percent for the time within an answer.
func (set *Settings) mostPulses(elapsed time.Duration, loose bool) float64 {
	if loose {
		elapsed += set.LongestGap
	}
	return float64(set.MaxPumpSpeed)/60*1.05*elapsed.Seconds()*set.Index.PulsesPerRevolution + 2
}

// countPulses counts the revolutions n that the index made in elapsed.
func (s *State) countPulses(set *Settings, n float64, elapsed time.Duration, events []Event) []Event {
	x, c := &s.Turns, &s.Counted
	lost := s.lostSinceIndex()
	switch {
	case lost > 0:
		unseen := max(n-x.BySpeed-x.Owed-s.Held.Turns-2/set.Index.PulsesPerRevolution, 0)
		if s.Gap.Open {
			x.Unseen += unseen
		}
		c.AtLeast += min(seconds(unseen*60/float64(set.MaxPumpSpeed)), lost)
	case s.Running.Agrees && set.measuresSpeed():
		events = s.compare(set, n, events)
	}
	x.track(n, elapsed)
	s.countTurns(set, max(n-x.Lent, 0))
	ahead := max(x.Lent-n, 0)
	s.resetTurns()
	x.Lent = ahead
	return events
}

// lostSinceIndex is the unobserved time since the index was last read.
func (s *State) lostSinceIndex() time.Duration {
	return s.Counted.Unobserved + s.Counted.FromMeter - s.Turns.Lost
}

func seconds(x float64) time.Duration { return time.Duration(x*1e3) * tick }

// track smooths the speed by the index over some seconds.
func (x *turns) track(n float64, elapsed time.Duration) {
	const smoothing = 5.0 // seconds
	if elapsed > time.Minute {
		x.RPM = 0
		return
	}
	x.RPM += (n*60/elapsed.Seconds() - x.RPM) * min(1, elapsed.Seconds()/smoothing)
}

// resetTurns begins the count by motor speed beside the index anew.
func (s *State) resetTurns() {
	x := &s.Turns
	x.BySpeed, x.Lent, x.Owed = 0, 0, 0
	x.Lost = s.Counted.Unobserved + s.Counted.FromMeter
}

// compare holds the index against the motor's speed.
func (s *State) compare(set *Settings, n float64, events []Event) []Event {
	x := &s.Turns
	x.ByIndex += n
	x.Beside += x.BySpeed
	if x.Beside < compareTurns {
		return events
	}
	e := Event{Kind: IndexAgrees, At: s.instant(), Meter: ShaftPulses, From: x.Beside, To: x.ByIndex}
	disagrees := math.Abs(x.ByIndex-x.Beside) > float64(set.Index.Tolerance)*x.Beside
	if disagrees {
		e.Kind = IndexDisagrees
	}
	x.ByIndex, x.Beside = 0, 0
	if disagrees == x.Disagrees {
		return events
	}
	x.Disagrees = disagrees
	return append(events, e)
}
