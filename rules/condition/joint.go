package condition

import (
	"math"

	"pumpside/drivers"
)

// Together is the indicator of a [Joint] over the orders of the discharge
// pressure that a pump with like heads does not have.
const Together Indicator = "discharge_orders_together"

// A Joint watches several indicators of a band at once. A fault of one head
// moves all of its orders a little, and what is too little in each may be plain
// in all.
//
// It keeps the last blocks, in standard deviations of a block, and looks at
// their mean over every stretch that ends now: the sum over indicators of
// n·|mean|²/(1 + n/N), N blocks having been learned, is χ² with as many degrees
// of freedom as there are parts, in a pump that has not changed. This is the
// generalised likelihood ratio over a window (Willsky and Jones 1976; Lai 1995).
// A change is raised when that has less chance than one in the run length, all
// stretches counted, so false ones are at least so far apart. Direction and size
// of the change need not be known.
type Joint struct {
	Blocks []JointBlock    `json:"blocks,omitempty"` // the newest last
	Raised bool            `json:"raised,omitempty"`
	Since  drivers.Instant `json:"since,omitzero"`
	Score  float64         `json:"score,omitempty"` // raised above 1
}

// A JointBlock is what one block showed of each indicator.
type JointBlock []JointTerm

// A JointTerm is how far one indicator was from its baseline.
type JointTerm struct {
	Watch   int     `json:"watch"` // its place in the band
	Z       Vector  `json:"z"`     // in standard deviations of a block
	Least   float64 `json:"least"` // worth noticing, in the same
	Learned int     `json:"learned"`
}

const (
	longestStretch  = 12
	shortestStretch = 3 // so that no single block raises anything
	mostParts       = 16
	farthest        = 4.0 // standard deviations that one block may count with
)

// add judges one more block. length is the mean number of blocks between two
// false changes.
func (j *Joint) add(b JointBlock, length float64, at drivers.Instant) {
	if len(j.Blocks) == longestStretch {
		j.Blocks = append(j.Blocks[:0], j.Blocks[1:]...)
	}
	j.Blocks = append(j.Blocks, b)
	switch j.Score = j.score(length); {
	case !j.Raised && j.Score > 1:
		j.Raised, j.Since = true, at
	case j.Raised && j.Score < 0.5:
		j.Raised, j.Since = false, drivers.Instant{}
	}
}

// score is −ln of the least chance of any stretch, by that of an alarm.
func (j *Joint) score(length float64) (most float64) {
	const stretches = longestStretch - shortestStretch + 1
	var parts [mostParts]struct {
		sum             Vector
		n, least, learn float64
	}
	for n := 1; n <= len(j.Blocks); n++ {
		for _, t := range j.Blocks[len(j.Blocks)-n] {
			p := &parts[t.Watch%mostParts]
			if p.n == 0 {
				p.learn = float64(t.Learned)
			}
			p.sum = p.sum.plus(t.Z)
			p.least += t.Least
			p.n++
		}
		if n < shortestStretch {
			continue
		}
		square, dims := 0.0, 0
		for i := range parts {
			if p := &parts[i]; p.n > 0 {
				far := max(0, math.Sqrt(p.sum.dot(p.sum))-p.least/2) / p.n
				square += p.n * far * far / (1 + p.n/p.learn)
				dims += 2
			}
		}
		most = max(most, -logTail(square, dims)/math.Log(stretches*length))
	}
	return most
}

// logTail is ln of the chance that χ² with an even number of degrees of
// freedom is above x (Abramowitz and Stegun 26.4.21).
func logTail(x float64, free int) float64 {
	term, sum := 1.0, 1.0
	for i := 1; i < free/2; i++ {
		term *= x / 2 / float64(i)
		sum += term
	}
	return min(0, math.Log(sum)-x/2)
}

func (j *Joint) change(band Band) Change {
	return Change{Indicator: Together, Band: band, Learned: len(j.Blocks) > 0, Score: j.Score, Raised: j.Raised, Since: j.Since}
}
