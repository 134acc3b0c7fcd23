package service

import (
	"math"
	"time"

	"pumpside/drivers"
)

// A Mark is one indicator of the pump around a repair: as it was learned when
// the pump was last well, as it was before the repair, and as it is since. A
// plain number is the real part; vectors use both.
type Mark struct {
	Name    string  `json:"indicator"`
	Healthy Point   `json:"healthy"`
	Failing Point   `json:"failing"`
	Sigma   float64 `json:"sigma"` // scatter of one block, per part
	Blocks  int     `json:"blocks"`
	Mean    Point   `json:"mean"` // of the blocks since
	Last    Point   `json:"last"`
}

// A Point is a number or a vector.
type Point struct {
	Re float64 `json:"re"`
	Im float64 `json:"im,omitempty"`
}

func (p Point) complex() complex128 { return complex(p.Re, p.Im) }

// Add takes the newest block, once.
func (m *Mark) Add(block Point) {
	if block == m.Last {
		return
	}
	m.Last = block
	m.Blocks++
	n := float64(m.Blocks)
	m.Mean.Re += (block.Re - m.Mean.Re) / n
	m.Mean.Im += (block.Im - m.Mean.Im) / n
}

// A Verdict says whether a repair held.
type Verdict uint8

// The verdicts.
const (
	NotYet Verdict = iota
	Held
	NotHeld
	CannotTell
)

var verdictWords = [...]string{"", "repaired", "not_repaired", "cannot_tell"}

// String gives the word for v; "" while it is not known.
func (v Verdict) String() string { return verdictWords[min(int(v), len(verdictWords)-1)] }

// A Repair is work whose effect is being judged. The zero Repair is none.
type Repair struct {
	Record int             `json:"record"` // its number in the ledger
	Task   string          `json:"task"`
	At     drivers.Instant `json:"at"`
	Marks  []Mark          `json:"marks,omitempty"`
}

// A Leak is how large a leak is, as a share of one head's flow, with the bounds
// that hold it in nine of ten cases. The zero Leak is not known.
type Leak struct {
	Low    float64 `json:"low"`
	Middle float64 `json:"middle"`
	High   float64 `json:"high"`
}

// Known is whether there is a size.
func (l Leak) Known() bool { return l.High > 0 }

// Weigh holds a verdict against the size of the leak before the work and since:
// it stands unless the leak says the opposite.
func (j Judgement) Weigh(before, since Leak) Judgement {
	if !before.Known() || !since.Known() {
		return j
	}
	switch {
	case j.Verdict == Held && since.Low > before.Middle/2:
		j.Verdict, j.Why = CannotTell, "the pump measures as when it was well, but the leak is still there"
	case j.Verdict == NotHeld && since.High < before.Low/2:
		j.Verdict, j.Why = CannotTell, "the pump measures as before the work, but the leak is gone"
	}
	return j
}

// A Judgement is what the marks come to. Way is how far the pump still is on
// the way from healthy (0) to failing (1), Error its standard error.
type Judgement struct {
	Verdict Verdict
	Way     float64
	Error   float64
	Why     string // of CannotTell
}

// When a verdict is given: in run time since the repair, after settling, as
// blocks of a minute (common practice, no source).
const (
	firstVerdict = 4 * 60
	lastVerdict  = 24 * 60
	// A block resembles those around it: so many count as one.
	alike = 10
	// The failing pump must have stood out so many standard errors for its
	// return to be seen at all.
	standsOut = 4
	lastWait  = 30 * 24 * time.Hour
)

// Judge weighs all marks, each by how clearly it told the failing pump from
// the healthy one. It gives NotYet until there is enough, and CannotTell when
// that does not come in time.
func (r *Repair) Judge(now drivers.Instant) Judgement {
	blocks, weight, sum := 0, 0.0, 0.0
	for i := range r.Marks {
		m := &r.Marks[i]
		blocks = max(blocks, m.Blocks)
		if way, e, known := m.way(); known {
			weight, sum = weight+1/(e*e), sum+way/(e*e)
		}
	}
	waited, known := now.Since(r.At)
	late := blocks >= lastVerdict || known && waited > lastWait
	switch {
	case blocks < firstVerdict && !late:
		return Judgement{}
	case len(r.Marks) == 0:
		return Judgement{Verdict: CannotTell, Why: "nothing that can be compared was measured just before the work"}
	case weight < standsOut*standsOut:
		return Judgement{Verdict: CannotTell, Why: "the fault had not shown in what is measured"}
	}
	j := Judgement{Way: sum / weight, Error: 1 / math.Sqrt(weight)}
	switch {
	case r.elsewhere():
		j.Verdict, j.Why = CannotTell, "the pump is now neither as it was healthy nor as it was before the work"
	case j.Way+2*j.Error < 0.5:
		j.Verdict = Held
	case j.Way-2*j.Error > 0.5:
		j.Verdict = NotHeld
	case late:
		j.Verdict, j.Why = CannotTell, "the pump is halfway between healthy and failing"
	default:
		return Judgement{}
	}
	return j
}

// way is how far the mark is from healthy to failing, with its standard error.
func (m *Mark) way() (way, e float64, known bool) {
	gap := m.Failing.complex() - m.Healthy.complex()
	size := math.Hypot(real(gap), imag(gap))
	if m.Blocks == 0 || size == 0 || !(m.Sigma > 0) {
		return 0, 0, false
	}
	off := m.Mean.complex() - m.Healthy.complex()
	return (real(off)*real(gap) + imag(off)*imag(gap)) / (size * size), m.Error() / size, true
}

// Error is the standard error of the mean since the repair and of the healthy
// one together.
func (m *Mark) Error() float64 {
	return m.Sigma * math.Sqrt(alike/float64(m.Blocks)+1.0/alike)
}

// elsewhere is whether a mark has gone where it was neither healthy nor
// failing: beside the line between them, or well beyond its ends.
func (r *Repair) elsewhere() bool {
	for i := range r.Marks {
		m := &r.Marks[i]
		way, e, known := m.way()
		if !known {
			continue
		}
		gap := m.Failing.complex() - m.Healthy.complex()
		beside := m.Mean.complex() - m.Healthy.complex() - complex(way, 0)*gap
		size := math.Hypot(real(gap), imag(gap))
		if math.Hypot(real(beside), imag(beside)) > math.Max(standsOut*m.Error(), size/2) || way > 1.5+standsOut*e || way < -0.5-standsOut*e {
			return true
		}
	}
	return false
}
