package alarm

import (
	"math"
	"slices"
	"sort"
	"time"
)

// The window of a rolling median is the shortest that covers both.
const (
	medianAtLeast = 5 * time.Second
	medianTurns   = 10
	// medianNoTurns is used while nobody counts turns: ten turns of the
	// slowest such pumps (200 rpm) take 3 s.
	medianNoTurns = 10 * time.Second
	// medianLongest drops samples of before an outage.
	medianLongest = 2 * time.Minute
	medianLeast   = 3   // samples, for a signal that is polled seldom
	medianMost    = 512 // samples: beyond them every other one is left out
)

// A Median is the rolling median of a signal that ripples with the shaft, over
// at least 5 s and at least 10 turns of the pump. It holds at most 512 samples
// and does not allocate once its window has been filled. The zero Median is
// empty; it is not stored, so that limits wait a window after a restart.
type Median struct {
	ring    []sample  // in the order of time, from head
	head    int       //
	sorted  []float64 // the same values in order
	apart   time.Duration
	stopped bool
}

type sample struct {
	at    time.Duration
	turns float64
	x     float64
}

// Add takes a good value read at a time since boot, with the turns the pump
// shaft had made by then in all (any origin; NaN when nobody counts them).
// stopped says that the pump stands, when no turns can be waited for. A time
// earlier than the last starts the window anew.
func (m *Median) Add(at time.Duration, x, turns float64, stopped bool) {
	if !finite(x) {
		return
	}
	m.stopped = stopped
	if n := m.count(); n > 0 {
		since := at - m.sample(n-1).at
		if since < 0 {
			m.Reset()
		} else if since < m.apart {
			return
		}
	}
	m.push(sample{at, turns, x})
	m.trim(at)
	if m.count() >= medianMost {
		m.thin()
	}
}

// Value gives the median, and whether the window is full.
func (m *Median) Value() (x float64, full bool) {
	n := len(m.sorted)
	if n < medianLeast || !m.covers(0) {
		return math.NaN(), false
	}
	return (m.sorted[(n-1)/2] + m.sorted[n/2]) / 2, true
}

// Reset empties the window.
func (m *Median) Reset() {
	m.ring, m.sorted, m.head, m.apart = m.ring[:0], m.sorted[:0], 0, 0
}

func (m *Median) count() int { return len(m.sorted) }

// sample gives the i-th oldest.
func (m *Median) sample(i int) *sample { return &m.ring[m.head+i] }

// covers reports whether the samples from the i-th oldest on make a window.
func (m *Median) covers(i int) bool {
	n := m.count()
	if n-i < medianLeast {
		return false
	}
	first, last := m.sample(i), m.sample(n-1)
	span, turns := last.at-first.at, last.turns-first.turns
	switch {
	case m.stopped:
		return span >= medianAtLeast
	case math.IsNaN(turns) || turns <= 0: // nobody counts them, or the counter was changed
		return span >= medianNoTurns
	}
	return span >= medianAtLeast && turns >= medianTurns
}

// push appends a sample. The ring slides through its array and moves back to
// the front when it comes to the end, once per as many samples as it holds.
func (m *Median) push(s sample) {
	if len(m.ring) == cap(m.ring) && m.head >= m.count() && m.head > 0 {
		n := copy(m.ring, m.ring[m.head:])
		m.ring, m.head = m.ring[:n], 0
	}
	m.ring = append(m.ring, s)
	i := sort.SearchFloat64s(m.sorted, s.x)
	m.sorted = slices.Insert(m.sorted, i, s.x)
}

// trim drops the oldest samples the window can do without.
func (m *Median) trim(now time.Duration) {
	for m.count() > 1 && (m.covers(1) || now-m.sample(0).at > medianLongest) {
		m.drop(m.sample(0).x)
		m.head++
	}
}

func (m *Median) drop(x float64) {
	i := sort.SearchFloat64s(m.sorted, x)
	m.sorted = slices.Delete(m.sorted, i, i+1)
}

// thin leaves out every other sample, and from now on those that come closer.
func (m *Median) thin() {
	kept := m.ring[:0]
	for i := m.head; i < len(m.ring); i += 2 {
		kept = append(kept, m.ring[i])
	}
	m.ring, m.head, m.sorted = kept, 0, m.sorted[:0]
	for _, s := range kept {
		m.sorted = append(m.sorted, s.x)
	}
	slices.Sort(m.sorted)
	n := len(kept)
	m.apart = (kept[n-1].at - kept[0].at) / time.Duration(n-1) * 3 / 4
}
