package alarm

import (
	"math"
	"time"
)

const slopePoints = 9

// A Slope measures how fast a value changes over a stated time, from points
// an eighth of that time apart. It starts anew at each start of the agent.
type Slope struct {
	over  time.Duration
	at    [slopePoints]time.Duration
	value [slopePoints]float64
	count int
	next  int
}

// NewSlope gives a Slope over that time, which must be above zero.
func NewSlope(over time.Duration) Slope { return Slope{over: over} }

// Add takes the value at a time since boot. Feed it the rolling median where
// the signal ripples. Times that go back start it anew, as does a gap longer
// than the time it measures over.
func (s *Slope) Add(at time.Duration, x float64) {
	if s.count > 0 {
		since := at - s.newest()
		if since < 0 || since > s.over {
			s.count = 0
		} else if since < s.over/(slopePoints-1) {
			return
		}
	}
	s.at[s.next], s.value[s.next] = at, x
	s.next = (s.next + 1) % slopePoints
	s.count = min(s.count+1, slopePoints)
}

func (s *Slope) newest() time.Duration { return s.at[(s.next+slopePoints-1)%slopePoints] }

// PerSecond gives the change per second; NaN until half the time is covered.
func (s *Slope) PerSecond() float64 {
	if s.count < 2 {
		return math.NaN()
	}
	first := (s.next + slopePoints - s.count) % slopePoints
	last := (s.next + slopePoints - 1) % slopePoints
	span := s.at[last] - s.at[first]
	if span < s.over/2 {
		return math.NaN()
	}
	return (s.value[last] - s.value[first]) / span.Seconds()
}
