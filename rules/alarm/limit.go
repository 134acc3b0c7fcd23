package alarm

import (
	"fmt"
	"math"
)

// A Limit is one or two limits in one direction, in base units.
type Limit struct {
	High     bool // true: too high is wrong; false: too low is
	Two      bool // Second counts
	First    float64
	Second   float64 // the worse one: above First when High, below it when not
	Deadband float64 // how far the value must come back inside a limit; never negative
}

// Judge compares v with the limits. A value on a limit is beyond it. A value
// that is bad or no number gives an unknown condition.
func (l *Limit) Judge(v Measured, was Level) Condition {
	if !v.usable() {
		return Condition{Quality: v.Quality, Reason: v.Reason, DataAge: v.Age}
	}
	holds, worse, limit := No, false, l.First
	switch {
	case l.Two && l.beyond(v.Value, l.Second, was == FarBeyond):
		holds, worse, limit = Yes, true, l.Second
	case l.beyond(v.Value, l.First, was >= Beyond):
		holds = Yes
	}
	return Condition{
		Holds: holds, Worse: worse, HasValue: true, HasLimit: true, Value: v.Value, Limit: limit,
		Quality: v.Quality, Reason: v.Reason, DataAge: v.Age,
	}
}

// beyond reports whether x is beyond limit; one that was has to come back by
// the deadband.
func (l *Limit) beyond(x, limit float64, was bool) bool {
	if l.High {
		return x >= limit || was && x > limit-l.Deadband
	}
	return x <= limit || was && x < limit+l.Deadband
}

func (l *Limit) validate() error {
	switch {
	case !finite(l.First) || l.Two && !finite(l.Second):
		return fmt.Errorf("a limit must be a finite number")
	case !(l.Deadband >= 0) || !finite(l.Deadband):
		return fmt.Errorf("deadband %v is not a number of zero or more", l.Deadband)
	case l.Two && l.High && !(l.Second > l.First):
		return fmt.Errorf("the second high limit must be above the first")
	case l.Two && !l.High && !(l.Second < l.First):
		return fmt.Errorf("the second low limit must be below the first")
	case l.Two && math.Abs(l.Second-l.First) < l.Deadband:
		return fmt.Errorf("the deadband is wider than the space between the two limits")
	}
	return nil
}
