package orders

import "math"

// Bins is how many equal parts of a turn a [Fold] keeps.
const Bins = 72

// A Fold is the signal against the shaft's angle, less its mean: what was
// read, whatever orders were fitted to it. Bin i is the mean of the samples
// from i to i+1 parts of a turn; it follows slowly, so that it shows some
// windows and not the last alone. The zero Fold is empty.
type Fold struct {
	Mean [Bins]float64
	Seen [Bins]bool
}

// Fold adds the samples of the window fitted last, whose result is r, in the
// angles that r has been turned to.
func (f *Fitter) Fold(r *Result, into *Fold) {
	const follow = 1.0 / 16 // a bin has some three samples of a window
	for _, s := range f.samples {
		theta, _ := r.phase.at(s.t)
		turn := (theta + r.turned) / (2 * math.Pi)
		i := min(int((turn-math.Floor(turn))*Bins), Bins-1)
		y := s.y - r.Mean
		if !into.Seen[i] {
			into.Mean[i], into.Seen[i] = y, true
			continue
		}
		into.Mean[i] += (y - into.Mean[i]) * follow
	}
}

// At is the mean at a place in bins, counted around the turn: between the two
// nearest bins that were seen, whose means stand in their middles. It is 0
// when none was.
func (f *Fold) At(place float64) float64 {
	place = math.Mod(math.Mod(place-0.5, Bins)+Bins, Bins)
	low := int(place) % Bins
	before, after := 0, 1
	for before < Bins && !f.Seen[(low-before+Bins)%Bins] {
		before++
	}
	for after <= Bins && !f.Seen[(low+after)%Bins] {
		after++
	}
	if before == Bins {
		return 0
	}
	share := (place - float64(low) + float64(before)) / float64(before+after)
	return f.Mean[(low-before+Bins)%Bins]*(1-share) + f.Mean[(low+after)%Bins]*share
}
