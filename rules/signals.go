package rules

import (
	"math"

	"pumpside/drivers"
	"pumpside/rules/alarm"
)

// A latest is what was last read of one signal.
type latest struct {
	value   float64
	quality drivers.Quality
	reason  drivers.Reason
	at      drivers.Instant // of the newest reading, good or not
	goodAt  drivers.Instant
	median  alarm.Median // used where the signal ripples
}

// take files the readings of b. A reading of an earlier instant than was
// already stepped is of no use to anyone.
func (s *State) take(set *Settings, b *drivers.Batch, late bool) {
	for i := range b.Readings {
		r := &b.Readings[i]
		place, ok := set.place(r.Signal)
		if !ok || late || r.Reason == drivers.Repeated {
			continue
		}
		l := &s.latest[place]
		l.at, l.quality, l.reason = b.At, r.Quality, r.Reason
		if r.Quality == drivers.Bad {
			continue
		}
		l.value, l.goodAt = r.Value, b.At
		if r.Signal < drivers.SignalCount && drivers.Signals[r.Signal].Ripples {
			l.median.Add(b.At.SinceBoot, r.Value, s.Counters.Counted.Revolutions, s.moment.Logic&alarm.PumpStopped != 0)
		}
	}
}

// measured gives what is to be judged of the signal at a place: the newest
// value, or the rolling median where it ripples. Nothing was read yet, or for
// too long, is bad.
func (s *State) measured(set *Settings, place int) alarm.Measured {
	l, at := &s.latest[place], &s.moment.At
	if l.at.Boot != at.Boot {
		return alarm.Measured{Value: math.NaN(), Reason: drivers.NeverRead}
	}
	m := alarm.Measured{Value: l.value, Quality: l.quality, Reason: l.reason, Age: at.SinceBoot - l.at.SinceBoot}
	if after := set.Signals[place].StaleAfter; after > 0 && m.Age > after {
		m.Quality, m.Reason = drivers.Bad, drivers.Stale
	}
	if m.Quality == drivers.Bad {
		m.Value = math.NaN()
		return m
	}
	if signal := set.Signals[place].Signal; signal < drivers.SignalCount && drivers.Signals[signal].Ripples {
		m.Value, _ = l.median.Value() // NaN until the window is full: not known
	}
	return m
}

// newest gives the newest value itself, ok only when it can be used now.
func (s *State) newest(set *Settings, signal drivers.Signal) (value float64, ok bool) {
	place, ok := set.place(signal)
	if !ok {
		return 0, false
	}
	l := &s.latest[place]
	if l.quality == drivers.Bad || l.at.Boot != s.moment.At.Boot {
		return 0, false
	}
	if after := set.Signals[place].StaleAfter; after > 0 && s.moment.At.SinceBoot-l.at.SinceBoot > after {
		return 0, false
	}
	return l.value, true
}

// settled gives the value that limits are judged on, ok only when known.
func (s *State) settled(set *Settings, signal drivers.Signal) (value float64, ok bool) {
	place, ok := set.place(signal)
	if !ok {
		return 0, false
	}
	m := s.measured(set, place)
	return m.Value, m.Quality != drivers.Bad && !math.IsNaN(m.Value)
}

// is reports whether a switch stands at 1.
func (s *State) is(set *Settings, signal drivers.Signal) alarm.Known {
	v, ok := s.newest(set, signal)
	if !ok {
		return alarm.Unknown
	}
	return alarm.KnownBool(v >= 0.5)
}
