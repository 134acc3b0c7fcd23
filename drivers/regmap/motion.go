package regmap

import (
	"math/bits"
	"time"

	"pumpside/drivers"
	"pumpside/drivers/quantity"
)

// A sensor that hangs sends the same bits for ever. So does a healthy one while
// nothing happens: a pump that stands. A signal is therefore judged frozen only
// by the time in which another measured signal of its device was lively.
const (
	// livelyMoves of the last 16 samples must have moved for a signal to be
	// lively, so that the slow drift of a standing pump proves nothing. Common
	// practice, no source.
	livelyMoves = 4

	// longestStep is how much standing still one sample can add: what happened
	// in a longer silence is not known.
	longestStep = 2 * time.Minute
)

// freezes is after what time the same bits are suspicious, by dimension; 0 is
// never. What moves with every stroke is judged soon, what has thermal mass or
// volume late. Speeds and frequencies hold exactly still in a healthy drive,
// and totals and hour meters in a pump that stands.
var freezes = [quantity.Mass + 1]time.Duration{
	quantity.Pressure:    10 * time.Minute,
	quantity.Flow:        10 * time.Minute,
	quantity.Current:     10 * time.Minute,
	quantity.Torque:      10 * time.Minute,
	quantity.Power:       10 * time.Minute,
	quantity.Temperature: time.Hour,
	quantity.Share:       time.Hour,
	quantity.Length:      time.Hour,
	quantity.Density:     time.Hour,
	quantity.Viscosity:   time.Hour,
}

// FreezesAfter gives for how long p may send the same bits while another
// measured signal of the device moves; 0 is for ever. It is FrozenAfter where
// that is set; else 10 minutes for what moves with every stroke (pressure,
// flow, current, torque, power), one hour for temperatures, levels, densities
// and viscosities, and for ever for the rest.
func (p *Point) FreezesAfter() time.Duration {
	switch {
	case p.FrozenAfter < 0 || p.Type.kind() != number:
		return 0
	case p.FrozenAfter > 0:
		return p.FrozenAfter
	case p.Unit.Dimension <= quantity.Mass:
		return freezes[p.Unit.Dimension]
	}
	return 0
}

// stirs reports whether a movement of p shows that the pump works: hour meters,
// counts and switches do not.
func (p *Point) stirs() bool {
	switch p.Unit.Dimension {
	case quantity.Speed, quantity.Frequency:
		return true
	}
	return p.FreezesAfter() > 0
}

// rests reports whether v is what p reads while there is nothing to measure:
// zero, or 4 mA.
func (p *Point) rests(v *Value) bool {
	return v.Raw == [4]uint16{} || p.Loop.Given() && v.Number == p.Loop.Low
}

// A motion is what must be remembered of a point to tell a new sample from an
// old one. Times are since boot.
type motion struct {
	raw, before [4]uint16 // the last raw value, and the last one different from it
	seen        bool
	changed     bool          // by the last sample
	moves       uint16        // one bit for each of the last 16 samples: it moved
	read        time.Duration // when last read
	sampled     time.Duration // when the device last had a new sample
	still       time.Duration // how long the same bits came while another signal was lively
}

// note takes the raw words of a new sample and reports whether the signal moved
// and is lively. The flicker of a last digit between two values is no movement.
func (m *motion) note(raw [4]uint16) (lively bool) {
	moved := m.seen && raw != m.raw && raw != m.before
	m.changed = !m.seen || raw != m.raw
	if m.changed {
		m.raw, m.before, m.seen = raw, m.raw, true
	}
	m.moves <<= 1
	if moved {
		m.moves |= 1
	}
	return moved && bits.OnesCount16(m.moves) >= livelyMoves
}

// judge lowers the quality of v when its sample is frozen, or is one that was
// counted already. stirred is when a lively signal of the device last moved.
func (m *motion) judge(p *Point, v *Value, now, stirred time.Duration) {
	switch {
	case m.changed:
		m.still, m.sampled = 0, now
	case stirred > m.read: // since the last time, and not by this one
		m.still += max(0, min(now-m.read, longestStep))
	}
	m.read = now
	if v.Quality == drivers.Bad {
		return
	}
	limit := p.FreezesAfter()
	switch {
	case limit > 0 && m.still > limit && !p.rests(v):
		v.Quality, v.Reason = drivers.Bad, drivers.Frozen
	case m.changed:
	case max(0, now-m.sampled) >= p.UpdatePeriod:
		m.sampled = now // a new sample that happens to be the same
	case v.Quality == drivers.Good:
		v.Quality, v.Reason = drivers.Uncertain, drivers.Repeated
	}
}
