package counters

import (
	"time"

	"pumpside/drivers"
	"pumpside/drivers/quantity"
)

// deliver counts a volume the flow meter saw, unless a totaliser counts it.
func (s *State) deliver(set *Settings, cubicMeters float64) {
	if !set.Installed.Has(drivers.GlycolVolume) {
		s.Counted.Pumped += quantity.CubicMeters(cubicMeters)
	}
}

// readVolume takes in a reading of the totaliser. What flows backwards is
// taken from nothing, and not counted again when it comes forward: a net
// totaliser that fell by less than totaliserStep is waited for.
func (s *State) readVolume(set *Settings, t time.Duration, raw float64, events []Event) []Event {
	known, before := s.Seen.Have.has(volume), s.Seen.Values[volume]
	if known && before/2 <= raw && raw < before && before-raw < totaliserStep {
		return events
	}
	elapsed := t - s.Seen.At[volume]
	if s.Seen.Across.has(volume) {
		elapsed += set.LongestGap
	}
	s.Seen.put(volume, t, raw)
	if !known {
		return events
	}
	e := Event{Kind: MeterReplaced, At: s.instant(), Meter: VolumeTotal, From: before, To: raw}
	v := raw - before
	if v < 0 {
		around := v + float64(set.Totaliser.RollsOverAt)
		if around < 0 || !set.Totaliser.possible(around, elapsed) {
			if raw < before/2 {
				events = append(events, e)
			}
			return events
		}
		v, e.Kind = around, MeterRolledOver
		events = append(events, e)
	}
	if !set.Totaliser.possible(v, elapsed) {
		return append(events, e)
	}
	s.Counted.Pumped += quantity.CubicMeters(v)
	return events
}

// possible reports whether v can have passed in elapsed. One percent of the
// time's volume and a litre more is left for the meter's own steps.
func (m *Totaliser) possible(v float64, elapsed time.Duration) bool {
	if m.MaxFlow == 0 {
		return m.RollsOverAt == 0 || v < float64(m.RollsOverAt)/2
	}
	return v <= float64(m.MaxFlow)*1.01*elapsed.Seconds()+totaliserStep
}

// totaliserStep is the coarsest step of a totaliser, in cubic metres (common
// practice, no source).
const totaliserStep = 0.1
