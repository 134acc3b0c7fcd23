package poll

import (
	"math"
	"time"

	"pumpside/drivers/regmap"
)

// A Seen is one point as last read. After a read that failed it keeps the
// words and the time of the last answer, with the reason why there is no newer.
type Seen struct {
	regmap.Value
	At time.Time // of the last answer; zero: there was none
}

// Raw is every point of a bus as last read, by device and point.
type Raw struct {
	At      time.Time
	Devices [][]Seen
}

// lookFor is how long raw words are copied after somebody asked.
const lookFor = 5 * time.Second

// Raw gives the words last read and asks for newer ones within the next
// seconds. It is nil at first. Any goroutine may call it; nobody may change
// what it returns.
func (p *Poller) Raw() *Raw {
	p.looked.Store(time.Now().UnixNano())
	return p.raw.Load()
}

// see notes values; at is zero when the read failed.
func (d *device) see(values []regmap.Value, at time.Time) {
	for _, v := range values {
		s := &d.seen[v.Point]
		if at.IsZero() {
			s.Quality, s.Reason, s.Number = v.Quality, v.Reason, math.NaN()
			continue
		}
		*s = Seen{v, at}
	}
}

// publishRaw copies what was seen while somebody looks.
func (r *run) publishRaw(now time.Time) {
	if now.UnixNano()-r.looked.Load() > int64(lookFor) {
		return
	}
	raw := &Raw{At: now, Devices: make([][]Seen, len(r.devices))}
	for i, d := range r.devices {
		raw.Devices[i] = append([]Seen(nil), d.seen...)
	}
	r.raw.Store(raw)
}
