package alarm

import "time"

// A Habit is how long something usually pauses. Where no signal tells whether
// it should run, a pause far beyond the habit is all that can be seen. The zero
// Habit knows nothing.
type Habit struct {
	Pauses  [16]time.Duration `json:"pauses,omitzero"` // the last ones, finished, in a ring
	Count   int               `json:"count,omitzero"`  // finished so far
	Watched time.Duration     `json:"watched,omitzero"`
	Pause   time.Duration     `json:"pause,omitzero"` // the one that lasts
}

// A habit is known after so many pauses, or after so long without that many. A
// pause is unusual from three times the longest of the last sixteen on, and
// never before half an hour (our own choice, no source).
const (
	habitPauses  = 8
	habitWatched = 7 * 24 * time.Hour
	habitTimes   = 3
	habitLeast   = 30 * time.Minute
)

// Watch lets the time pass in which it ran (No pause) or paused (Yes). What is
// unknown is not watched and ends no pause.
func (h *Habit) Watch(pauses Known, passed time.Duration) {
	switch pauses {
	case Unknown:
		return
	case Yes:
		h.Pause += passed
	case No:
		if h.Pause > 0 {
			h.Pauses[h.Count%len(h.Pauses)] = h.Pause
			h.Count++
			h.Pause = 0
		}
	}
	h.Watched += passed
}

// Unusual tells whether the pause that lasts is beyond the habit: Unknown while
// the habit is not known, or nothing pauses.
func (h *Habit) Unusual() Known {
	if h.Pause == 0 || h.Count < habitPauses && h.Watched-h.Pause < habitWatched {
		return Unknown
	}
	longest := time.Duration(0)
	for _, p := range h.Pauses {
		longest = max(longest, p)
	}
	return KnownBool(h.Pause > max(habitTimes*longest, habitLeast))
}
