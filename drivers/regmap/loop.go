package regmap

import (
	"math"
	"time"

	"pumpside/drivers"
)

// NAMUR NE 43: measurement is 3.8 to 20.5 mA, a failed transmitter or wire is
// at or below 3.6 mA or at or above 21.0 mA and stays there for 4 s. What lies
// between has no meaning. Texts differ on whether 3.6 and 21.0 themselves have
// failed; here they have.
var (
	measuring = Range{3.8, 20.5}
	failure   = Range{3.6, 21.0} // failed at its ends and outside
)

const (
	failureHold = 4 * time.Second

	// loopBand in mA is how far a current must come back over an end before it
	// is believed, so that noise on an end does not flicker. Common practice,
	// not of NE 43.
	loopBand = 0.02
)

// at gives the value a current in mA stands for.
func (r Range) at(current float64) float64 { return r.Low + (current-4)/16*(r.High-r.Low) }

// A loop is what must be remembered of a 4–20 mA signal.
type loop struct {
	out     bool          // left the measuring range and is not safely back
	failing bool          // at a failure current
	since   time.Duration // when that began, since boot
	failed  bool          // failing for the hold, and not back since
}

// step takes the current at the time since boot now.
func (l *loop) step(now time.Duration, current float64) (drivers.Quality, drivers.Reason) {
	if l.measures(current) {
		*l = loop{}
		return drivers.Good, drivers.ReasonNone
	}
	l.out = true
	switch {
	case !l.fails(current):
		l.failing = false
	case !l.failing || now < l.since:
		l.failing, l.since = true, now
	case now-l.since >= failureHold:
		l.failed = true
	}
	if l.failed {
		return drivers.Bad, drivers.LoopFailed
	}
	return drivers.Uncertain, drivers.LoopUncertain
}

// measures and fails widen or narrow the ends by the band when coming back.
func (l *loop) measures(current float64) bool {
	band := 0.0
	if l.out {
		band = loopBand
	}
	return Range{measuring.Low + band, measuring.High - band}.contains(current)
}

func (l *loop) fails(current float64) bool {
	band := 0.0
	if l.failing {
		band = loopBand
	}
	return current <= failure.Low+band || current >= failure.High-band
}

// judgeLoop gives v the number that a current in mA stands for. Inside the
// measuring range the valid range decides, outside it NE 43. Without memory a
// failure current has failed at once.
func (p *Point) judgeLoop(v Value, l *loop, now time.Duration, current float64) Value {
	if l == nil {
		l = new(loop)
		l.step(now-failureHold, current) // as if it had stood there for the hold
	}
	quality, reason := l.step(now, current)
	v = p.judge(v, p.Loop.at(current))
	if reason != drivers.ReasonNone && !math.IsNaN(v.Number) {
		v.Quality, v.Reason = quality, reason
	}
	return v
}
