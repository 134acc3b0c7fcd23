package diagnosis

import (
	"time"

	"pumpside/drivers"
)

// When a change becomes a reason for a visit (common practice, no source).
const (
	standsFor = 6 * time.Hour
	episodes  = 3
	within    = 7 * 24 * time.Hour
	endsAfter = time.Hour // of not being found, judged: what is on an edge comes and goes by the minute, and is one episode
	// AfterService is how long findings are withheld after hands were at the
	// pump: air leaves the heads.
	AfterService = 30 * time.Minute
)

// A Persistence says when something found is worth a visit: after six hours,
// or when it came three times in seven days. Time in which nothing can be
// judged neither counts nor ends an episode, nor does an absence of less than an
// hour. The zero Persistence has seen
// nothing.
type Persistence struct {
	Present bool              `json:"present"`
	Began   drivers.Instant   `json:"began"`            // of the present episode
	Stood   time.Duration     `json:"stood"`            // judged time of the present episode
	Gone    time.Duration     `json:"gone,omitempty"`   // judged time in it since it was last found
	Seen    drivers.Instant   `json:"seen"`             // last judged
	Starts  []drivers.Instant `json:"starts,omitempty"` // of the last episodes
}

// Judge notes whether something is found at an instant, and gives whether a
// visit is advised.
func (p *Persistence) Judge(at drivers.Instant, found bool) (visit bool) {
	const longest = 10 * time.Minute // between two judgements; of a longer time between nobody knows
	passed := time.Duration(0)
	if d, known := at.Since(p.Seen); known && d > 0 && d <= longest {
		passed = d
	}
	switch {
	case found && !p.Present:
		p.Present, p.Began, p.Stood = true, at, 0
		p.Starts = append(p.Starts, at)
		p.Starts = p.Starts[max(0, len(p.Starts)-episodes):]
	case found && p.Gone == 0:
		p.Stood += passed
	case !found && p.Present:
		if p.Gone += passed; p.Gone < endsAfter {
			p.Seen = at
			return p.Visit(at)
		}
		p.Present, p.Stood = false, 0
	}
	p.Gone, p.Seen = 0, at
	return p.Visit(at)
}

// Visit is whether a visit is advised at an instant.
func (p *Persistence) Visit(at drivers.Instant) bool {
	if !p.Present {
		return false
	}
	if p.Stood >= standsFor {
		return true
	}
	if len(p.Starts) < episodes {
		return false
	}
	d, known := at.Since(p.Starts[0])
	return known && d <= within
}
