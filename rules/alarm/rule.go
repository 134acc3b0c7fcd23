package alarm

import (
	"fmt"
	"math"
	"time"

	"pumpside/drivers"
)

// A By says how an alarm's condition is judged.
type By uint8

// The ways. ByEngine needs the whole pump (lost flow, reverse flow); the
// others need one signal and are judged by [Rule.Judge].
const (
	ByEngine    By = iota
	ByValue        // the value, or its rolling median where the signal ripples
	ByRate         // how fast it changes, from a [Slope] over Rule.Over, per second
	ByDeviation    // the value less that of Rule.Against
	ByState        // it stands at Rule.State
	ByQuality      // it has been bad, for another reason than the way to its device
)

// A Rule is how the condition of an alarm on one signal is judged.
type Rule struct {
	By      By
	Limit   Limit          // for ByValue, ByRate and ByDeviation
	Against drivers.Signal // for ByDeviation: what is taken off the value
	Over    time.Duration  // for ByRate: the time the change is measured over
	State   float64        // for ByState
}

// A Measured is one value as an evaluator sees it, in base units.
type Measured struct {
	Value   float64
	Quality drivers.Quality
	Reason  drivers.Reason
	Age     time.Duration
}

// Less gives the difference of two values: as good as the worse and as old as
// the older of the two.
func (v Measured) Less(o Measured) Measured {
	if o.Quality < v.Quality {
		v.Quality, v.Reason = o.Quality, o.Reason
	}
	v.Value -= o.Value
	v.Age = max(v.Age, o.Age)
	return v
}

// Judge gives the condition of v: the value, the rate or the difference as the
// rule wants it. was is what the alarm's [Machine] last judged.
func (r *Rule) Judge(v Measured, was Level) Condition {
	switch r.By {
	case ByState:
		return r.judgeState(v)
	case ByQuality:
		return judgeQuality(v)
	}
	return r.Limit.Judge(v, was)
}

// judgeState takes numbers within a half of the state for it: a switch is 0
// or 1. It gives no value: "state 1" tells a reader nothing.
func (r *Rule) judgeState(v Measured) Condition {
	c := Condition{Quality: v.Quality, Reason: v.Reason, DataAge: v.Age}
	if v.usable() {
		c.Holds = KnownBool(math.Abs(v.Value-r.State) < 0.5)
	}
	return c
}

// judgeQuality holds for a signal whose value is bad although its device
// answers; when the device does not answer, its own alarm says so.
func judgeQuality(v Measured) Condition {
	c := Condition{Quality: v.Quality, Reason: v.Reason, DataAge: v.Age, Holds: No}
	switch {
	case v.Quality != drivers.Bad:
	case v.Reason.Comms():
		c.Holds = Unknown
	default:
		c.Holds = Yes
	}
	return c
}

// usable reports whether v can be judged: it is not bad and is a number.
func (v *Measured) usable() bool { return v.Quality != drivers.Bad && finite(v.Value) }

// finite: only of NaN and the infinities is the difference to itself not zero.
func finite(x float64) bool { return x-x == 0 }

func (r *Rule) validate() error {
	switch r.By {
	case ByValue, ByRate, ByDeviation:
		if err := r.Limit.validate(); err != nil {
			return err
		}
	}
	switch {
	case r.By == ByRate && r.Over <= 0:
		return fmt.Errorf("a rate of change needs a time to be measured over")
	case r.By == ByDeviation && r.Against == drivers.NoSignal:
		return fmt.Errorf("a deviation needs another signal")
	}
	return nil
}
