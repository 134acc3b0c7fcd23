package condition

import (
	"math"
	"time"

	"pumpside/drivers"
	"pumpside/rules/pump"
)

// Settings of a State; see [DefaultSettings].
type Settings struct {
	Bands       Bands
	Block       time.Duration // observations of that long make one block
	MinBlocks   int           // blocks before anything is judged; where blocks are rare, as many as an hour gives
	LearnBlocks int           // blocks after which learning ends
	// RunLength is the mean number of blocks, were one to follow the other,
	// between two false changes of one indicator in a pump that does not
	// change: where blocks are rarer they are fewer, in the same time.
	RunLength float64
}

// DefaultSettings take blocks of a minute, judge from twelve blocks on, learn
// for a week of running, and raise one false change of an indicator in ten
// years of running.
func DefaultSettings(b Bands) Settings {
	const week = 7 * 24 * 60
	return Settings{Bands: b, Block: time.Minute, MinBlocks: 12, LearnBlocks: week, RunLength: 10 * 52 * week}
}

// cusums are those of each arm of w: the first is best for a change of one
// standard deviation of a block, the second for one of three. All of all arms
// together keep the run length.
func (s *Settings) cusums(w *Watch) (small, large Cusum) {
	length := s.length(w) * 2 * float64(len(w.directions()))
	return NewCusum(0.5, length), NewCusum(1.5, length)
}

// length is the run length in blocks as far apart as those of w are.
func (s *Settings) length(w *Watch) float64 {
	if block := s.Block.Seconds(); w.Gap > block {
		return s.RunLength * block / w.Gap
	}
	return s.RunLength
}

// ready is whether w has learned enough to be judged by. Once judged it stays
// so: blocks may come faster afterwards, and a changed pump teaches no more of
// them.
func (s *Settings) ready(w *Watch) bool {
	const least, patience = 8, 50 * time.Minute // common practice, no source
	n := s.MinBlocks
	if w.Gap > s.Block.Seconds() {
		n = max(min(least, n), min(n, int(patience.Seconds()/w.Gap)))
	}
	return w.Baseline.Blocks >= n || len(w.Arms) > 0
}

// A State is all that is known of a pump's condition. The zero State has seen
// nothing. It is bounded: the band that was not used for longest makes room.
type State struct {
	Bands []BandState `json:"bands,omitempty"`
	Beat  int64       `json:"beat"` // counts observations, to tell which band was used last
}

// A BandState is all that is known in one band.
type BandState struct {
	Band    Band    `json:"band"`
	Used    int64   `json:"used"`
	Watches []Watch `json:"watches"`
	Joint   Joint   `json:"joint,omitzero"`
}

// mostBands a State remembers.
const mostBands = 48

// Observe takes observations made at one moment in one band.
func (s *State) Observe(set *Settings, at drivers.Instant, band Band, list []Observation) {
	s.Advance(set, at)
	s.Beat++
	b := s.band(band)
	b.Used = s.Beat
	for _, o := range list {
		if finite(o.Value) {
			b.watch(o).Block.add(at, o)
		}
	}
}

// Advance ends the blocks that have lasted their time, and learns them while
// nothing in their band looks changed: what moves one indicator at once moves
// others a little, and that little must not be taken for health. Call it on
// every beat; an episode's last block ends by it.
func (s *State) Advance(set *Settings, at drivers.Instant) {
	for i := range s.Bands {
		s.Bands[i].advance(set, at, s.changedBeside(i, at))
	}
}

// changedBeside is whether a change stands in another band.
func (s *State) changedBeside(band int, at drivers.Instant) bool {
	for i := range s.Bands {
		if i != band && s.Bands[i].stands() && s.Bands[i].usedWithin(remembered, at) {
			return true
		}
	}
	return false
}

func (b *BandState) advance(set *Settings, at drivers.Instant, beside bool) {
	var ended []Block // as they were before they were closed
	var together JointBlock
	joined := b.joinedDue(set, at)
	for i := range b.Watches {
		if w := &b.Watches[i]; w.Block.due(at, set.Block) || joined && w.Joined && w.Block.Count > 0 {
			if ended == nil {
				ended = make([]Block, len(b.Watches))
			}
			ended[i] = w.Block
			if t, judged := w.close(set, at); judged && w.Joined {
				t.Watch = i
				together = append(together, t)
			}
		}
	}
	if len(together) > 1 {
		b.Joint.add(together, set.length(&b.Watches[together[0].Watch]), at)
	}
	if ended == nil {
		return
	}
	for i := range ended {
		if ended[i].Count > 0 {
			b.Watches[i].Missed = 0
		} else if b.Watches[i].Block.Count == 0 {
			b.Watches[i].Missed++
		}
	}
	if b.looksChanged(set) {
		return
	}
	for i := range ended {
		if w := &b.Watches[i]; ended[i].Count > 0 && (!beside || set.ready(w)) {
			w.learn(set, &ended[i])
		}
	}
}

// joinedDue is whether a block of those watched together is due: then all of
// them are, so that one which was missed at the start of a block keeps step.
func (b *BandState) joinedDue(set *Settings, at drivers.Instant) bool {
	for i := range b.Watches {
		if w := &b.Watches[i]; w.Joined && w.Block.due(at, set.Block) {
			return true
		}
	}
	return false
}

// looksChanged is whether any indicator on view is on its way to be raised.
func (b *BandState) looksChanged(set *Settings) bool {
	const from = 0.3
	if b.Joint.Score > 2*from {
		return true
	}
	for i := range b.Watches {
		if _, score := b.Watches[i].leading(set); score > from && !b.Watches[i].gone() {
			return true
		}
	}
	return false
}

// A change keeps other bands from learning for so long after its own was last
// used (common practice, no source): a band that the pump does not come back to
// cannot see it go, and must not blind all others for ever.
const remembered = 24 * time.Hour

// usedWithin is whether a block of b began in that time.
func (b *BandState) usedWithin(d time.Duration, at drivers.Instant) bool {
	for i := range b.Watches {
		if passed, known := at.Since(b.Watches[i].Begun); !known || passed < d {
			return true
		}
	}
	return false
}

// stands is whether a change does that a fault of the pump makes: of all orders
// together, of the first, of the efficiency. The higher orders move with the
// line, and what stays behind of them in a band must not keep the next ones from
// being learned.
func (b *BandState) stands() bool {
	if b.Joint.Raised {
		return true
	}
	first := OrderIndicator(pump.Discharge, 1)
	for i := range b.Watches {
		if w := &b.Watches[i]; w.Raised && !w.gone() && (w.Indicator == first || w.Indicator == VolumetricEfficiency) {
			return true
		}
	}
	return false
}

// Relearn forgets everything: after commissioning, after each service, after
// any change of piping, index or rotation. The settling window is the
// caller's, who observes nothing in it.
func (s *State) Relearn() { *s = State{} }

// A Change is where an indicator stands against its baseline in a band.
type Change struct {
	Indicator Indicator
	Vector    bool
	Band      Band
	// Learned is whether there is a baseline to compare with. It is learned,
	// not known to be that of a healthy pump.
	Learned  bool
	Blocks   int        // the baseline was learned from
	Baseline complex128 // where the last block was; 0 when there is none
	Value    complex128 // of the last block
	// Delta is the mean change from the baseline since it began, 0 while
	// there is none, and Sigma its standard error per part, the baseline's
	// own included.
	Delta complex128
	Sigma float64
	Since drivers.Instant // when Raised was set
	Score float64         // the highest sum by its limit: a change is raised above 1
	// Raised is whether the change is more than chance, by the run length of
	// the settings.
	Raised bool
}

// Changes appends where every indicator of a band stands, in the order they
// were first seen.
func (s *State) Changes(set *Settings, band Band, list []Change) []Change {
	for i := range s.Bands {
		if s.Bands[i].Band == band {
			for j := range s.Bands[i].Watches {
				list = append(list, s.Bands[i].Watches[j].change(set, band))
			}
			if j := &s.Bands[i].Joint; len(j.Blocks) > 0 {
				list = append(list, j.change(band))
			}
		}
	}
	return list
}

func (w *Watch) change(set *Settings, band Band) Change {
	c := Change{Indicator: w.Indicator, Vector: w.Vector, Band: band, Blocks: w.Baseline.Blocks, Value: w.Last.Complex()}
	if c.Learned = set.ready(w); !c.Learned {
		return c
	}
	c.Baseline, c.Raised, c.Since = w.Baseline.at(w.Place).Complex(), w.Raised && !w.gone(), w.Since
	lead, score := w.leading(set)
	if lead == nil || lead.Blocks == 0 {
		return c
	}
	c.Score = score
	c.Delta = lead.Mean.Complex()
	// A mean with weight λ for each block has λ/(2−λ) of its variance.
	n := math.Max(1/float64(lead.Blocks), slowest/(2-slowest))
	c.Sigma = math.Hypot(w.Baseline.sigma(w.Baseline.Stated, w.dims())*math.Sqrt(n+1/float64(w.Baseline.Blocks)), w.Baseline.bias(w.Place))
	return c
}

func (s *State) band(band Band) *BandState {
	oldest := 0
	for i := range s.Bands {
		if s.Bands[i].Band == band {
			return &s.Bands[i]
		}
		if s.Bands[i].Used < s.Bands[oldest].Used {
			oldest = i
		}
	}
	if len(s.Bands) < mostBands {
		s.Bands = append(s.Bands, BandState{Band: band})
		return &s.Bands[len(s.Bands)-1]
	}
	s.Bands[oldest] = BandState{Band: band}
	return &s.Bands[oldest]
}

func (b *BandState) watch(o Observation) *Watch {
	for i := range b.Watches {
		if b.Watches[i].Indicator == o.Indicator {
			b.Watches[i].Joined = o.Joined // in a state from before there was a Joint it is not
			return &b.Watches[i]
		}
	}
	b.Watches = append(b.Watches, Watch{Indicator: o.Indicator, Vector: o.Vector, Joined: o.Joined})
	return &b.Watches[len(b.Watches)-1]
}

func finite(c complex128) bool {
	return !math.IsNaN(real(c)) && !math.IsInf(real(c), 0) && !math.IsNaN(imag(c)) && !math.IsInf(imag(c), 0)
}
