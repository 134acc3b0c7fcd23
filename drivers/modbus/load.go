package modbus

import "time"

// A Load is the part of the time that a bus is busy, 0 to 1 or more, by class.
type Load struct {
	Routine, Slow float64
	Fast          float64 // averaged over open and closed windows, taking them all as allowed
}

// MostLoad is the average load up to which a bus keeps its beats with room for
// repeats and slow answers.
const MostLoad = 0.70

// Average returns the load of an average second.
func (l Load) Average() float64 { return l.Routine + l.Slow + l.Fast }

// LoadOf returns the load that jobs put on a bus: for every job its cost by its
// period, for fast jobs without one all the time the others leave, each times
// the part of time its window is open.
func LoadOf(jobs []Job, windows []Window) Load {
	var l Load
	within := make([]float64, len(windows)) // load while the window is open
	for _, j := range jobs {
		switch share := perPeriod(j.Cost, j.Period); j.Class {
		case Routine:
			l.Routine += share
		case Slow:
			l.Slow += share
		case Fast:
			within[j.Window] += share
		}
	}
	left := max(0, 1-l.Routine-l.Slow)
	for i, w := range windows {
		l.Fast += min(within[i], left) * perPeriod(w.Length, w.Every)
	}
	l.Fast = min(l.Fast, left)
	return l
}

// perPeriod returns a part of a period; all of it if the period is zero.
func perPeriod(part, period time.Duration) float64 {
	if period == 0 {
		return 1
	}
	return float64(part) / float64(period)
}
