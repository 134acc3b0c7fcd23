package condition

import (
	"encoding/json"
	"errors"
	"math"
)

// A Vector is a point in the plane; a plain number is its first part.
type Vector [2]float64

func (v Vector) plus(w Vector) Vector   { return Vector{v[0] + w[0], v[1] + w[1]} }
func (v Vector) minus(w Vector) Vector  { return Vector{v[0] - w[0], v[1] - w[1]} }
func (v Vector) times(f float64) Vector { return Vector{v[0] * f, v[1] * f} }
func (v Vector) dot(w Vector) float64   { return v[0]*w[0] + v[1]*w[1] }

// Complex is v as a complex number.
func (v Vector) Complex() complex128 { return complex(v[0], v[1]) }

func vectorOf(c complex128) Vector { return Vector{real(c), imag(c)} }

// A Baseline is where an indicator lies in a band, and how much its blocks
// scatter. A block is a mean over a minute or so.
//
// Within a band an indicator moves with speed, pressure and temperatures, so
// what is learned is a centre and a slope in each direction. Before anything is
// learned a slope is 0 with the standard deviation that observations give it;
// where the pump has not worked yet it keeps that doubt.
//
// Blocks go into a bounded number of slots. When the slots are full,
// neighbours are merged and each slot stands for twice as many blocks, so the
// slots always span the whole time of learning. Those that lie within three
// Sigma of the line are what it goes by, so that a bad day among good ones
// does not move it.
type Baseline struct {
	Center Vector                  `json:"center"`         // at Place
	Place  Place                   `json:"place,omitzero"` // the mean of those learned at
	Slopes [places]Vector          `json:"slopes,omitzero"`
	Doubt  [places][places]float64 `json:"doubt,omitzero"` // covariance of the slopes, per part
	Blocks int                     `json:"blocks"`         // learned from
	Spread float64                 `json:"spread"`         // variance of a block, per part, as the blocks show it
	Stated float64                 `json:"stated"`         // mean of the variances that blocks state

	Slots  []Slot `json:"points,omitempty"`
	Per    int    `json:"per,omitempty"`        // blocks in a slot
	Open   Slot   `json:"filling,omitzero"`     // sum of the blocks in the slot being filled
	InOpen int    `json:"in_filling,omitempty"` // their number
}

// UnmarshalJSON reads a baseline as it is written, or as it was before it had
// slopes: its slots were values alone, which stand for the middle of the band.
func (b *Baseline) UnmarshalJSON(text []byte) error {
	type plain Baseline
	var before struct {
		Slots []Vector `json:"slots"`
	}
	if err := errors.Join(json.Unmarshal(text, (*plain)(b)), json.Unmarshal(text, &before)); err != nil {
		return err
	}
	for _, v := range before.Slots {
		b.Slots = append(b.Slots, Slot{Value: v})
	}
	return nil
}

// A Slot is the mean of some blocks, and where in the band they were.
type Slot struct {
	Value Vector `json:"v"`
	Place Place  `json:"p,omitzero"`
}

func (s Slot) plus(t Slot) Slot {
	s.Value = s.Value.plus(t.Value)
	for i := range s.Place {
		s.Place[i] += t.Place[i]
	}
	return s
}

func (s Slot) times(f float64) Slot {
	s.Value = s.Value.times(f)
	for i := range s.Place {
		s.Place[i] *= f
	}
	return s
}

const (
	places    = len(Place{})
	mostSlots = 32
)

// at is where the indicator is expected at a place in the band.
func (b *Baseline) at(p Place) Vector {
	v := b.Center
	for i, off := range p.minus(b.Place) {
		v = v.plus(b.Slopes[i].times(off))
	}
	return v
}

// bias is the standard deviation, per part, of what that may be off by because
// the slopes are not known. It is the same for all blocks at a place.
func (b *Baseline) bias(p Place) float64 {
	sum, off := 0.0, p.minus(b.Place)
	for i := range off {
		for j := range off {
			sum += off[i] * off[j] * b.Doubt[i][j]
		}
	}
	return math.Sqrt(max(0, sum))
}

// doubt is how far, per part, all blocks at a place may be off for no other
// reason than that centre and slopes were learned from few: what is the same in
// every block a sum takes for a change, however small. The centre counts with
// four of its standard errors, since the worst of a pump's many indicators and
// bands must stay within it.
func (b *Baseline) doubt(p Place, sigma float64) float64 {
	return math.Hypot(2*b.bias(p), 4*sigma/math.Sqrt(float64(b.Blocks)))
}

// learn takes one block, dims parts of which mean something. may is the
// standard deviation of the slopes.
func (b *Baseline) learn(s Slot, may Place, stated float64, dims int) {
	b.Blocks++
	b.Stated += (stated - b.Stated) / float64(b.Blocks)
	b.Per = max(1, b.Per)
	if b.Per > 1 { // too many for the slots to show single blocks: a running mean, with outliers cut at 3 σ
		d := s.Value.minus(b.at(s.Place))
		b.Spread += (min(d.dot(d)/float64(dims), 9*b.Spread) - b.Spread) / float64(b.Blocks)
	}
	b.Open = b.Open.plus(s)
	if b.InOpen++; b.InOpen < b.Per {
		return
	}
	full := b.Open.times(1 / float64(b.InOpen))
	full.Place = full.Place.rounded()
	b.Slots = append(b.Slots, full)
	b.Open, b.InOpen = Slot{}, 0
	b.settle(may, dims)
	if len(b.Slots) == mostSlots {
		b.merge()
	}
}

func (b *Baseline) merge() {
	for i := range mostSlots / 2 {
		b.Slots[i] = b.Slots[2*i].plus(b.Slots[2*i+1]).times(0.5)
		b.Slots[i].Place = b.Slots[i].Place.rounded()
	}
	b.Slots = b.Slots[:mostSlots/2]
	b.Per *= 2
}

// finish drops what only learning needs.
func (b *Baseline) finish() { b.Slots, b.Open, b.InOpen = nil, Slot{}, 0 }

// sigma is the standard deviation, per part, of the difference between a block
// that states a variance and the centre. What blocks show counts as many times
// as there are blocks, what they state five times. The last factors are those
// of a prediction from few data: the centre's own error, and the variance of
// Student's distribution.
func (b *Baseline) sigma(stated float64, dims int) float64 {
	const trust = 5
	n := float64(b.Blocks)
	v := b.Spread
	if b.Stated > 0 {
		v = (n*b.Spread + trust*b.Stated) / (n + trust)
		v *= math.Max(1, stated/b.Stated)
	}
	free := math.Max(n*float64(dims), 5)
	return math.Sqrt(v * (1 + 1/n) * (free - 1) / (free - 3))
}
