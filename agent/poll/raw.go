package poll

import (
	"math"
	"sync"
	"time"

	"pumpside/drivers/regmap"
)

// A Seen is one point as last read. After a read that failed it keeps the
// words and the time of the last answer, with the reason why there is no newer.
type Seen struct {
	regmap.Value
	At time.Time // of the last answer; zero: there was none
}

// Raw gives a copy of every point as last read, by device and point; nil
// before Run. Any goroutine may call it.
func (p *Poller) Raw() [][]Seen {
	p.raw.mu.Lock()
	defer p.raw.mu.Unlock()
	var all [][]Seen
	for _, seen := range p.raw.devices {
		all = append(all, append([]Seen(nil), seen...))
	}
	return all
}

// raw is the newest of every point, by device.
type raw struct {
	mu      sync.Mutex // guards devices: the run writes and Raw reads
	devices [][]Seen
}

func (r *raw) begin(devices [][]Seen) {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.devices = devices
}

// see notes values; at is zero when the read failed.
func (r *raw) see(device int, values []regmap.Value, at time.Time) {
	r.mu.Lock()
	defer r.mu.Unlock()
	for _, v := range values {
		s := &r.devices[device][v.Point]
		if at.IsZero() {
			s.Quality, s.Reason, s.Number = v.Quality, v.Reason, math.NaN()
			continue
		}
		*s = Seen{v, at}
	}
}
