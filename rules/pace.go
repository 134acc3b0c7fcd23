package rules

import "time"

// A pace is how fast a signal is polled: what windows suit it.
type pace struct {
	last     time.Duration
	interval time.Duration // running mean of the short intervals
	quick    time.Duration // when it was last confirmed
	class    int           // place in paces, −1 for none yet
}

// windowsRecur is longer than the beat of fast windows: between them polling is
// slow, and means nothing.
const windowsRecur = 20 * time.Minute

// paces are the windows for polling intervals up to a length. About a hundred
// samples or four seconds; slower than two a second, orders need luck.
var paces = [...]struct {
	upTo, window time.Duration
	capacity     int
}{
	{45 * time.Millisecond, 4 * time.Second, 512},
	{150 * time.Millisecond, 12 * time.Second, 384},
	{500 * time.Millisecond, 30 * time.Second, 256},
}

// sample notes a sample and reports whether it is a new one.
func (p *pace) sample(at time.Duration) bool {
	d := at - p.last
	if d <= 0 {
		p.last = at
		return false
	}
	p.last = at
	switch {
	case p.interval == 0 || d < p.interval/2:
		p.interval, p.quick = d, at
	case d < 2*p.interval+50*time.Millisecond:
		p.interval += (d - p.interval) / 32
		p.quick = at
	case at-p.quick > windowsRecur: // slower polling is believed bit by bit
		p.interval += p.interval / 64
	}
	return true
}

// changed reports whether the windows no longer suit.
func (p *pace) changed() bool {
	class := len(paces)
	for i := range paces {
		margin := paces[i].upTo
		if i == p.class {
			margin += margin / 4
		}
		if p.interval <= margin {
			class = i
			break
		}
	}
	if class == p.class {
		return false
	}
	p.class = class
	return true
}

// window is the length and the capacity of the windows; 0 when polling is too
// slow for any.
func (p *pace) window() (time.Duration, int) {
	if p.class < 0 || p.class >= len(paces) {
		return 0, 0
	}
	return paces[p.class].window, paces[p.class].capacity
}
