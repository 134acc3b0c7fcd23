package condition

import (
	"math"
	"time"

	"pumpside/drivers"
)

// A Watch is one indicator in one band: what it learned, and what it has seen
// since.
type Watch struct {
	Indicator Indicator       `json:"indicator"`
	Vector    bool            `json:"vector,omitempty"`
	Joined    bool            `json:"joined,omitempty"` // in the band's Joint
	Baseline  Baseline        `json:"baseline"`
	Arms      []Arm           `json:"arms,omitempty"`
	Raised    bool            `json:"raised,omitempty"`
	Since     drivers.Instant `json:"since"` // when it was raised
	Block     Block           `json:"block"`
	Last      Vector          `json:"last"`             // the block before
	Place     Place           `json:"place,omitzero"`   // and where in the band it was
	Begun     drivers.Instant `json:"begun"`            // the block before
	Gap       float64         `json:"gap,omitempty"`    // s from one block to the next, about; 0 when not known
	Missed    int             `json:"missed,omitempty"` // blocks of others since the last of its own
}

// gone is whether an indicator was not seen any more while others were: a meter
// that fails or was taken away.
func (w *Watch) gone() bool {
	const most = 100 // blocks of others
	return w.Missed > most
}

// An Arm is a pair of Cusums in one direction, one for small changes and one
// for large, and the mean change since the first left 0.
type Arm struct {
	Sum    float64 `json:"sum"`
	Quick  float64 `json:"quick"`
	Blocks int     `json:"blocks"`
	Mean   Vector  `json:"mean"`
}

// A Block gathers observations into one mean.
type Block struct {
	Start  drivers.Instant `json:"start"`
	Count  int             `json:"observations"`
	Weight float64         `json:"weight"`
	Sum    Slot            `json:"total"`
	Slope  Place           `json:"slope,omitzero"`
	Stated float64         `json:"stated"` // whether and how far the observations state a variance: sum of 1/variance
	Least  float64         `json:"least"`
}

func (b *Block) add(at drivers.Instant, o Observation) {
	if b.Count == 0 {
		*b = Block{Start: at}
	}
	weight := 1.0
	if o.Variance > 0 {
		weight = 1 / o.Variance
		b.Stated += weight
	}
	b.Count++
	b.Weight += weight
	b.Sum = b.Sum.plus(Slot{vectorOf(o.Value), o.Place}.times(weight))
	b.Least, b.Slope = o.Least, o.Slope
}

// due is whether the block has lasted its time; across a boot it has.
func (b *Block) due(at drivers.Instant, length time.Duration) bool {
	return b.Count > 0 && (!at.SameBoot(b.Start) || at.SinceBoot-b.Start.SinceBoot >= length)
}

// variance is what the observations state for their mean, 0 for nothing.
func (b *Block) variance() float64 {
	if b.Stated == 0 {
		return 0
	}
	return 1 / b.Stated
}

// directions of the arms: eight for a vector, so that none is further than
// 22.5° from one; up and down for a plain number.
var (
	compass = func() (list [8]Vector) {
		for i := range list {
			sin, cos := math.Sincos(float64(i) * math.Pi / 4)
			list[i] = Vector{cos, sin}
		}
		return list
	}()
	upDown = [2]Vector{{1, 0}, {-1, 0}}
)

func (w *Watch) directions() []Vector {
	if w.Vector {
		return compass[:]
	}
	return upDown[:]
}

func (w *Watch) dims() int {
	if w.Vector {
		return 2
	}
	return 1
}

// close ends the block and judges it if there is a baseline to judge it by;
// then it tells how far off the block is.
func (w *Watch) close(set *Settings, at drivers.Instant) (t JointTerm, judged bool) {
	b := w.Block
	w.space(set, b.Start)
	w.Block = Block{}
	mean := b.Sum.times(1 / b.Weight)
	w.Last, w.Place = mean.Value, mean.Place
	if !set.ready(w) {
		return t, false
	}
	return w.judge(set, at, b)
}

// learn takes the block that has just been closed.
func (w *Watch) learn(set *Settings, b *Block) {
	if w.Baseline.Blocks >= set.LearnBlocks {
		return
	}
	w.Baseline.learn(Slot{w.Last, w.Place}, b.Slope, b.variance(), w.dims())
	if w.Baseline.Blocks == set.LearnBlocks {
		w.Baseline.finish()
	}
}

// space follows the time from block to block: fast windows give one every few
// minutes. A stop counts no longer than the longest beat of them.
func (w *Watch) space(set *Settings, start drivers.Instant) {
	const longest = 10 * time.Minute
	if before := w.Begun; start.SameBoot(before) && before.SinceBoot > 0 {
		gap := min(max(start.SinceBoot-before.SinceBoot, set.Block), longest).Seconds()
		if w.Gap == 0 {
			w.Gap = gap
		}
		w.Gap += (gap - w.Gap) / 8
	}
	w.Begun = start
}

// slowest is the least weight of a block in the mean change, so that the mean
// follows a change that grows.
const slowest = 0.03

func (w *Watch) judge(set *Settings, at drivers.Instant, b Block) (t JointTerm, ok bool) {
	if len(w.Arms) == 0 {
		w.Arms = make([]Arm, len(w.directions()))
	}
	sigma := w.Baseline.sigma(b.variance(), w.dims())
	if !(sigma > 0) { // it stood exactly still while it was learned
		sigma = b.Least / 10
	}
	if !(sigma > 0) {
		return t, false
	}
	d := w.Last.minus(w.Baseline.at(w.Place))
	least := math.Hypot(b.Least, 2*w.Baseline.doubt(w.Place, sigma)) / sigma
	small, large := set.cusums(w)
	score := 0.0
	for i, direction := range w.directions() {
		a, z := &w.Arms[i], d.dot(direction)/sigma
		a.Sum = small.stepCut(a.Sum, z, least)
		a.Quick = large.stepCut(a.Quick, z, least)
		score = max(score, a.score(small, large))
		if a.Sum == 0 {
			a.Blocks, a.Mean = 0, Vector{}
			continue
		}
		a.Blocks++
		a.Mean = a.Mean.plus(d.minus(a.Mean).times(max(1/float64(a.Blocks), slowest)))
	}
	switch {
	case !w.Raised && score > 1:
		w.Raised, w.Since = true, at
		for i := range w.Arms { // blocks from before the change would spoil its mean
			w.Arms[i].Blocks, w.Arms[i].Mean = 1, d
		}
	case w.Raised && score < 0.5:
		w.Raised, w.Since = false, drivers.Instant{}
	}
	block := sigma / math.Sqrt(1+1/float64(w.Baseline.Blocks)) // without the centre's own error
	z := d.times(1 / block)
	if far := math.Sqrt(z.dot(z)); far > farthest {
		z = z.times(farthest / far)
	}
	return JointTerm{Z: z, Least: math.Hypot(b.Least, 4*w.Baseline.bias(w.Place)) / block, Learned: w.Baseline.Blocks}, true
}

// stepCut is Step for a change worth noticing of least standard deviations. A
// step is cut to a third of the limit, so that it takes three blocks to raise
// anything, and the sum to somewhat over it, so that it comes down again soon
// after the change has gone.
func (c Cusum) stepCut(sum, z, least float64) float64 {
	step := min(z-max(c.Slack, least/2), c.Limit/3)
	return min(max(0, sum+step), 1.2*c.Limit)
}

// score is the higher of the two sums by its limit.
func (a *Arm) score(small, large Cusum) float64 {
	return max(a.Sum/small.Limit, a.Quick/large.Limit)
}

// leading is the arm with the highest score, and that; nil when nothing was
// judged.
func (w *Watch) leading(set *Settings) (lead *Arm, score float64) {
	small, large := set.cusums(w)
	for i := range w.Arms {
		if s := w.Arms[i].score(small, large); lead == nil || s > score {
			lead, score = &w.Arms[i], s
		}
	}
	return lead, score
}
