package alarm

import (
	"time"

	"pumpside/drivers"
)

// A Level is how far a condition has gone.
type Level uint8

// The levels: within limits, beyond the first limit, beyond the worse one.
const (
	Clear Level = iota
	Beyond
	FarBeyond
	notKnown // of a condition that cannot be judged; never kept
)

// A Condition is what an evaluator found at one moment, before any delay. The
// zero Condition is unknown: it neither raises nor clears.
type Condition struct {
	Holds Known
	Worse bool // beyond the worse limit too; only with Holds == Yes

	HasValue bool // Value is what was judged, in the base unit of the definition's dimension
	HasLimit bool // Limit is what it was judged against
	Value    float64
	Limit    float64
	Quality  drivers.Quality
	Reason   drivers.Reason
	DataAge  time.Duration // age of the value at the moment

	// Of an alarm that leaves its call to another: see [Joint].
	CarriedBy string // the alarm whose call speaks for this one; "" for none
	Answered  bool   // and somebody has acknowledged that
	// Of an alarm whose call speaks for others.
	AtOnce  bool          // one of them has waited out its own delay
	Respond time.Duration // they leave no more time than that; 0: as the definition says
}

// Judged gives a condition that needs no number, such as a pump that failed
// to prime.
func Judged(holds Known) Condition { return Condition{Holds: holds, Quality: drivers.Good} }

func (c *Condition) level() Level {
	switch {
	case c.Holds == Unknown:
		return notKnown
	case c.Holds == No:
		return Clear
	case c.Worse:
		return FarBeyond
	}
	return Beyond
}
