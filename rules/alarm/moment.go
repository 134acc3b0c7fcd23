package alarm

import (
	"time"

	"pumpside/drivers"
)

// longestWatch is the longest time between two moments that still counts as
// watched. Beats come every second; after a longer silence (the agent was
// stopped, the gateway slept) nobody can say that a condition held throughout.
const longestWatch = time.Minute

// A Clock measures the time between moments. It is stored, so that a restart
// knows how long it was away when that can be known.
type Clock struct {
	Last drivers.Instant `json:"last,omitzero"`
}

// A Moment is one step of time for all alarms of a board.
type Moment struct {
	At      drivers.Instant
	Elapsed time.Duration // since the moment before; 0 when that is not known
	Watched time.Duration // the part of Elapsed that counts for delays
	Lost    bool          // time has passed and nobody can tell how much

	Logic      Logic         // the conditions of operation that hold
	SinceStart time.Duration // since the pump last started; 0 while it stands or nobody knows
}

// Tick moves the clock to at and gives the moment, with no Logic set. An
// instant earlier than the last one of the same boot is a moment of no length.
// Across boots the elapsed time is known only when both wall clocks were
// synchronised, and none of it was watched.
func (c *Clock) Tick(at drivers.Instant) Moment {
	now := Moment{At: at}
	switch {
	case c.Last.IsZero():
	case c.Last.SameBoot(at):
		now.Elapsed = max(at.SinceBoot-c.Last.SinceBoot, 0)
		if now.Elapsed == 0 {
			return now
		}
		if now.Elapsed <= longestWatch {
			now.Watched = now.Elapsed
		}
	default:
		elapsed, known := at.Since(c.Last)
		now.Elapsed, now.Lost = elapsed, !known
	}
	c.Last = at
	return now
}
