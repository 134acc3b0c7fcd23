package alarm

import "time"

// A hold is one yes-or-no with a delay each way: what stands, what was judged
// the step before, and what is judged now.
type hold struct{ stands, before, now bool }

// pass lets watched time go by and gives what stands afterwards. held is how
// long the judgement has differed from what stands. The first step of a
// difference counts no time: nobody knows when between two steps it began.
func (h hold) pass(held *time.Duration, watched, on, off time.Duration) bool {
	switch {
	case h.now == h.stands:
		*held = 0
		return h.stands
	case h.before == h.now:
		*held += watched
	default:
		*held = 0
	}
	delay := on
	if h.stands {
		delay = off
	}
	if *held < delay {
		return h.stands
	}
	return h.now
}
