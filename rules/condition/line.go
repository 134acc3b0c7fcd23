package condition

import (
	"math"
	"slices"
)

// settle finds centre and slopes from the slots and, while slots are single
// blocks, their spread: least squares with a normal prior of the slopes (ridge
// regression, Hoerl and Kennard 1970), by the slots within three Sigma of the
// line. It begins with the level line and goes over it until it stays.
func (b *Baseline) settle(may Place, dims int) {
	const rounds = 4
	b.Slopes = [places]Vector{}
	noise, spent := 0.0, 0.0
	for i := range rounds {
		near := b.near(dims)
		noise = b.center(&near, spent, dims)
		if i < rounds-1 {
			spent = b.slope(&near, may, noise, dims)
		}
	}
	if b.Per == 1 {
		b.Spread = noise
	}
}

// off is part i of a slot, taken along the slopes to the place of the centre.
func (b *Baseline) off(s *Slot, i int) float64 {
	x := s.Value[i]
	for k, d := range s.Place.minus(b.Place) {
		x -= b.Slopes[k][i] * d
	}
	return x
}

// near is which slots lie within three Sigma of the line in every part.
func (b *Baseline) near(dims int) (near [mostSlots]bool) {
	var parts [mostSlots]float64
	for j := range b.Slots {
		near[j] = true
	}
	for i := range dims {
		list := parts[:len(b.Slots)]
		for j := range b.Slots {
			list[j] = b.off(&b.Slots[j], i)
		}
		median, reach := Median(list), 3*Sigma(list)
		for j, x := range list {
			near[j] = near[j] && math.Abs(x-median) <= reach
		}
	}
	return near
}

// center takes place and centre from the slots near the line, and gives the
// variance of a slot about it, per part; spent is how many numbers the slopes
// have taken from the data.
func (b *Baseline) center(near *[mostSlots]bool, spent float64, dims int) (noise float64) {
	n, sum := 0.0, Slot{}
	for j := range b.Slots {
		if near[j] {
			n++
			sum = sum.plus(b.Slots[j])
		}
	}
	if n == 0 {
		return 0
	}
	mean := sum.times(1 / n)
	b.Center, b.Place = mean.Value, mean.Place
	for j := range b.Slots {
		for i := range dims {
			if near[j] {
				d := b.off(&b.Slots[j], i) - b.Center[i]
				noise += d * d / float64(dims)
			}
		}
	}
	return noise / math.Max(1, n-1-spent)
}

// slope finds the slopes, with their doubt, from the slots near the line. In
// units of the prior's standard deviations it is the unit matrix. Neighbours in
// time are off alike, and temperatures go with time, so four slots tell of a
// slope what one would that is by itself (common practice, no source). What
// hardly scatters, as a register in steps, would tell more than numbers can hold.
func (b *Baseline) slope(near *[mostSlots]bool, may Place, noise float64, dims int) (spent float64) {
	const least = 1e-6 // scatter, by the largest slope there may be
	if noise > 0 {
		widest := least * slices.Max(may[:])
		noise = max(4*noise, widest*widest)
	}
	a, right := [places][places]float64{}, [places]Vector{}
	for k := range a {
		a[k][k] = 1
	}
	for j := range b.Slots {
		if !near[j] || !(noise > 0) {
			continue
		}
		d := b.Slots[j].Value.minus(b.Center)
		x := b.Slots[j].Place.minus(b.Place)
		for k := range a {
			x[k] *= may[k]
		}
		for k := range a {
			right[k] = right[k].plus(d.times(x[k] / noise))
			for l := range a {
				a[k][l] += x[k] * x[l] / noise
			}
		}
	}
	inverse(&a)
	b.Slopes = [places]Vector{}
	spent = float64(places)
	for k := range a {
		spent -= a[k][k]
		for l := range a {
			b.Slopes[k] = b.Slopes[k].plus(right[l].times(may[k] * a[k][l]))
			b.Doubt[k][l] = may[k] * may[l] * a[k][l]
		}
	}
	return spent
}

// inverse turns a symmetric matrix without small eigenvalues into its inverse
// (Gauss and Jordan).
func inverse(a *[places][places]float64) {
	for p := range a {
		by := 1 / a[p][p]
		a[p][p] = 1
		for j := range a {
			a[p][j] *= by
		}
		for i := range a {
			if i == p {
				continue
			}
			f := a[i][p]
			a[i][p] = 0
			for j := range a {
				a[i][j] -= f * a[p][j]
			}
		}
	}
}
