package rules

import (
	"slices"

	"pumpside/drivers"
	"pumpside/rules/alarm"
	"pumpside/rules/condition"
)

// A leakHistory is what the stops under one kind of standby conditions lost:
// the first ones, from which the pump is learned, and the newest.
type leakHistory struct {
	First  [leakLearned]float64 `json:"first,omitzero"`
	Newest [leakJudged]float64  `json:"newest,omitzero"`
	Count  int                  `json:"count,omitzero"`

	// What was learned, once the first are complete: their median, and how far
	// above it the limit lies.
	Learned float64 `json:"learned,omitzero"`
	Limit   float64 `json:"limit,omitzero"`
}

// How many stops a pump is learned from, and how many are judged together; how
// far their median may lie above what was learned, in standard deviations and
// in shares of the pressure (our own choice, no source).
const (
	leakLearned = 8
	leakJudged  = 3
	leakSigmas  = 4
	leakLeast   = 0.10
)

// leakBands are the standby conditions that are learned apart: other pumps of
// the group hold the header up or not, and the glycol is hot or cold, for cold
// glycol leaks slowly.
const (
	leakBands = 4
	hotGlycol = 40 // °C; between 20 °C and here its viscosity falls to a half
)

// leakBand gives the conditions now.
func (s *State) leakBand(set *Settings) (band int) {
	if s.told().Running > 0 {
		band += 2
	}
	if t, ok := s.newest(set, drivers.GlycolTemperature); ok && t < hotGlycol {
		band++
	}
	return band
}

func (h *leakHistory) add(loss float64) {
	if h.Count < leakLearned {
		h.First[h.Count] = loss
	} else {
		h.Newest[h.Count%leakJudged] = loss
	}
	if h.Count++; h.Count == leakLearned {
		h.Learned = condition.Median(h.First[:])
		h.Limit = min(h.Learned+max(leakSigmas*condition.Sigma(h.First[:]), leakLeast), 1)
	}
}

// known reports whether enough was measured to judge.
func (h *leakHistory) known() bool { return h.Count >= leakLearned+leakJudged }

// now is the median of the newest stops: one bad stop is none.
func (h *leakHistory) now() float64 {
	sorted := h.Newest
	slices.Sort(sorted[:])
	return sorted[leakJudged/2]
}

// leaks reports whether enough was measured, and more than was learned.
func (h *leakHistory) leaks() bool { return h.known() && h.now() > h.Limit }

// judgeLeakDown: after stops the pressure falls faster than it did when the
// pump was learned. It is held between two stops, and over stops under other
// conditions, which may hide it, until stops under the same show it gone.
func judgeLeakDown(_ *Settings, s *State, _ int) alarm.Condition {
	l := &s.Watch.LeakDown
	h := &l.Bands[l.Was]
	if i := slices.IndexFunc(l.Bands[:], func(h leakHistory) bool { return h.leaks() }); i >= 0 && !h.leaks() {
		h = &l.Bands[i]
	}
	if l.Count == 0 || !h.known() {
		return alarm.Condition{}
	}
	return withValue(alarm.Judged(alarm.KnownBool(h.leaks())), h.now(), h.Limit)
}
