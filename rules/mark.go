package rules

import (
	"slices"
	"time"

	"pumpside/drivers"
)

// A Mark is what a pump's counters stood at, so that a report can say what a
// day added.
type Mark struct {
	At      drivers.Instant `json:"at"`
	Run     time.Duration   `json:"run"`
	Unseen  time.Duration   `json:"unobserved"`
	Starts  uint64          `json:"starts"`
	Pumped  float64         `json:"pumped_m3"`
	Energy  float64         `json:"energy_j"`
	Strokes float64         `json:"strokes_per_plunger"`
}

// marks are those of a day by the hour, and of a week by the day, oldest first.
// A list is never changed once it is made: snapshots share it.
type marks struct {
	Hours []Mark `json:"hours,omitempty"`
	Days  []Mark `json:"days,omitempty"`
}

// How many are kept: one more than the spaces between them.
const (
	hourMarks = 25
	dayMarks  = 9
)

// mark keeps the counters' stand once an hour and once a day.
func (s *State) mark() {
	m := &s.Marks
	if !s.markDue(m.Hours, time.Hour) {
		return
	}
	t := &s.totals
	now := Mark{
		At: s.moment.At, Run: t.Run, Unseen: t.Unobserved + t.FromMeter, Starts: t.Starts, Pumped: float64(t.Pumped), Energy: float64(t.Energy),
		Strokes: t.StrokesPerPlunger,
	}
	m.Hours = kept(m.Hours, now, hourMarks)
	if s.markDue(m.Days, 24*time.Hour) {
		m.Days = kept(m.Days, now, dayMarks)
	}
}

// markDue also holds when nobody can tell how long the last mark is ago.
func (s *State) markDue(list []Mark, every time.Duration) bool {
	if len(list) == 0 {
		return true
	}
	since, known := s.moment.At.Since(list[len(list)-1].At)
	return !known || since >= every
}

func kept(list []Mark, m Mark, most int) []Mark {
	from := max(len(list)+1-most, 0)
	return append(slices.Clip(slices.Clone(list[from:])), m)
}

// Since gives the youngest mark that is not younger than t by the wall clock,
// or else the oldest there is; false when there is none.
func (snap *Snapshot) Since(t time.Time) (Mark, bool) {
	best, ok := Mark{}, false
	for _, list := range [][]Mark{snap.marks.Hours, snap.marks.Days} {
		for _, m := range list {
			switch {
			case !ok, m.At.Wall.After(t) && m.At.Wall.Before(best.At.Wall), !m.At.Wall.After(t) && (best.At.Wall.After(t) || m.At.Wall.After(best.At.Wall)):
				best, ok = m, true
			}
		}
	}
	return best, ok
}
