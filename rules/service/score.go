package service

import (
	"pumpside/drivers"
	"pumpside/rules/pump"
)

// A Score counts how the diagnosis did against what people found, over the
// records in force that say what was found and where, and were made while it
// suspected something.
type Score struct {
	Place   int `json:"right_place"`   // the right part at the right place
	Head    int `json:"right_head"`    // the right head, the other side
	Side    int `json:"right_side"`    // the right side, another head
	Wrong   int `json:"wrong"`         // something had failed, elsewhere
	Nothing int `json:"nothing_wrong"` // the part was good
}

// Scored scores a pump's ledger.
func Scored(ledger []drivers.ServiceRecord) (s Score) {
	for _, r := range InForce(ledger) {
		b, found := r.Believed, Found(r.Entry.Found)
		if b == nil || found == NotExamined || r.Entry.Cylinder == 0 {
			continue
		}
		believed, at := positionAt(b.Cylinder, b.Side), positionOf(&r.Entry)
		s.count(believed, at, found)
	}
	return s
}

func (s *Score) count(believed, at pump.Position, found Found) {
	head, side := believed.Cylinder == at.Cylinder, fits(believed.Side, at.Side)
	switch {
	case found.Failed() && head && side:
		s.Place++
	case found.Failed() && head:
		s.Head++
	case found.Failed() && side:
		s.Side++
	case found.Failed():
		s.Wrong++
	case head && side:
		s.Nothing++
	}
}

// Rate is the share of right places among those scored, and how many were.
func (s Score) Rate() (rate float64, scored int) {
	n := s.Place + s.Head + s.Side + s.Wrong + s.Nothing
	if n == 0 {
		return 0, 0
	}
	return float64(s.Place) / float64(n), n
}

// An OilUse is how much oil is topped up, in litres per 1000 run hours. Oil
// that goes is the first sign of a shaft seal or a diaphragm.
type OilUse struct {
	Before float64 `json:"before_l_per_1000_h"`
	Lately float64 `json:"lately_l_per_1000_h"` // over the last three intervals between top-ups
	Rising bool    `json:"rising"`              // by half and more
}

// lately is how many intervals the newest use is taken over, and the fewest
// before them.
const lately = 3

// OilUsed trends the top-ups of a ledger since the first; false while there are
// too few.
func OilUsed(ledger []drivers.ServiceRecord) (OilUse, bool) {
	var hours, litres []float64
	for _, r := range InForce(ledger) {
		if r.Entry.Added > 0 {
			hours, litres = append(hours, r.RunTime.Hours()), append(litres, r.Entry.Added)
		}
	}
	n := len(hours)
	if n < 2*lately+1 {
		return OilUse{}, false
	}
	split := n - 1 - lately
	if hours[split] <= hours[0] || hours[n-1] <= hours[split] {
		return OilUse{}, false // it takes time between them to tell a rate
	}
	use := func(from, to int) float64 {
		sum := 0.0
		for _, x := range litres[from+1 : to+1] {
			sum += x
		}
		return 1000 * share(sum, hours[to]-hours[from])
	}
	o := OilUse{Before: use(0, split), Lately: use(split, n-1)}
	o.Rising = o.Lately >= 1.5*o.Before
	return o, true
}
