package modbus

import "time"

// A lateness is what a unit's answers have told about how late they come.
type lateness struct {
	answers int
	slowest time.Duration // from the end of a request to the first byte of its answer
}

// learnAfter is how many answers it takes to believe a limit below the
// configured one; slack is how many times the slowest answer that limit is.
const (
	learnAfter = 100
	slack      = 4
)

// seen notes an answer, also one that came after its request was given up.
func (l *lateness) seen(turnaround time.Duration) {
	l.answers++
	l.slowest = max(l.slowest, turnaround)
}

// limit returns how long a line must be silent after a fault of this unit
// before no answer of it can be on the way any more.
func (l *lateness) limit(s *Settings) time.Duration {
	limit := s.LateLimit
	if l.answers >= learnAfter {
		limit = min(limit, max(s.LateFloor, slack*l.slowest))
	}
	return max(limit, l.slowest)
}
