package condition

import "math"

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
// Blocks go into a bounded number of slots. When the slots are full,
// neighbours are merged and each slot stands for twice as many blocks, so the
// slots always span the whole time of learning. Their Hampel mean is the
// centre, which a bad day among good ones does not move.
type Baseline struct {
	Center Vector  `json:"center"`
	Blocks int     `json:"blocks"` // learned from
	Spread float64 `json:"spread"` // variance of a block, per part, as the blocks show it
	Stated float64 `json:"stated"` // mean of the variances that blocks state

	Slots  []Vector `json:"slots,omitempty"`
	Per    int      `json:"per,omitempty"`     // blocks in a slot
	Open   Vector   `json:"open"`              // sum of the blocks in the slot being filled
	InOpen int      `json:"in_open,omitempty"` // their number
}

const mostSlots = 32

// learn takes one block, dims parts of which mean something.
func (b *Baseline) learn(v Vector, stated float64, dims int) {
	b.Blocks++
	b.Stated += (stated - b.Stated) / float64(b.Blocks)
	b.Per = max(1, b.Per)
	if b.Per > 1 { // too many for the slots to show single blocks: a running mean, with outliers cut at 3 σ
		d := v.minus(b.Center)
		b.Spread += (min(d.dot(d)/float64(dims), 9*b.Spread) - b.Spread) / float64(b.Blocks)
	}
	b.Open = b.Open.plus(v)
	if b.InOpen++; b.InOpen < b.Per {
		return
	}
	b.Slots = append(b.Slots, b.Open.times(1/float64(b.InOpen)))
	b.Open, b.InOpen = Vector{}, 0
	b.settle(dims)
	if len(b.Slots) == mostSlots {
		b.merge()
	}
}

// settle computes centre and, while slots are single blocks, spread.
func (b *Baseline) settle(dims int) {
	var axis [mostSlots]float64
	spread := 0.0
	for i := range dims {
		for j, s := range b.Slots {
			axis[j] = s[i]
		}
		mean, variance := hampel(axis[:len(b.Slots)])
		b.Center[i] = mean
		spread += variance / float64(dims)
	}
	if b.Per == 1 {
		b.Spread = spread
	}
}

func (b *Baseline) merge() {
	for i := range mostSlots / 2 {
		b.Slots[i] = b.Slots[2*i].plus(b.Slots[2*i+1]).times(0.5)
	}
	b.Slots = b.Slots[:mostSlots/2]
	b.Per *= 2
}

// finish drops what only learning needs.
func (b *Baseline) finish() { b.Slots, b.Open, b.InOpen = nil, Vector{}, 0 }

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
