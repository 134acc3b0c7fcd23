package service

import (
	"math"
	"slices"
)

// A pace is how fast a pump uses up one measure, told from its own days: a
// recent level, the shape of its week, the season a year ago, and how wrong
// such a pace would have been in the past.
type pace struct {
	level  float64    // use a day, lately
	week   [7]float64 // share of the level by day of the week, mean 1
	spread spread

	// Use from now on, by day ahead: reached[i] after i+1 days. early and late
	// are the 90 % and 10 % of what it may be; each rises.
	reached, early, late []float64
}

// Settings of the pace; found good on simulated duty, no source.
const (
	fewestDays  = 28   // of history, for any forecast
	halfLife    = 42.0 // days: what is older counts half
	fullYear    = 364  // days: whole weeks
	seasonFrom  = fullYear + 56
	farthest    = 3 * fullYear // days ahead
	seasonWide  = 21           // days to each side that a season is averaged over
	seasonShare = 0.3          // of the mean, added above and below so that a season of nothing divides nothing
	normal90    = 1.2816       // standard deviations of a normal distribution from its median to its 90 %
)

// newPace judges use by day, oldest first, of which the next day is day number
// next (days since 1970). It gives nil when there is not enough to go by.
func newPace(use []float64, next int64) *pace {
	n := len(use)
	if n < fewestDays || slices.Max(use[n-fewestDays:]) <= 0 {
		return nil
	}
	sums := running(use)
	levels := smoothed(use)
	p := &pace{level: levels[n]}
	p.shape(use, next)
	s := newSeason(use, sums)
	p.spread = judged(sums, levels, s)
	p.look(s, next, n)
	return p
}

// running gives sums[i], the sum of the first i.
func running(use []float64) []float64 {
	sums := make([]float64, len(use)+1)
	for i, x := range use {
		sums[i+1] = sums[i] + x
	}
	return sums
}

// smoothed gives levels[i], the mean of the first i, of which those of
// halfLife days ago count half as much as the newest.
func smoothed(use []float64) []float64 {
	keep := math.Exp2(-1 / halfLife)
	levels := make([]float64, len(use)+1)
	sum, weight := 0.0, 0.0
	for i, x := range use {
		sum, weight = sum*keep+x, weight*keep+1
		levels[i+1] = sum / weight
	}
	return levels
}

// shape finds the week in the last eight weeks, drawn a little to a flat one.
func (p *pace) shape(use []float64, next int64) {
	const weeks, flat = 8, 1.0
	last := use[max(len(use)-7*weeks, 0):]
	sum, count := [7]float64{}, [7]float64{}
	mean := 0.0
	for i, x := range last {
		day := (next - int64(len(last)-i)) % 7
		sum[day] += x
		count[day]++
		mean += x / float64(len(last))
	}
	total := 0.0
	for d := range p.week {
		p.week[d] = (sum[d] + flat*mean) / (count[d] + flat)
		total += p.week[d] / 7
	}
	for d := range p.week {
		if p.week[d] /= total; !(total > 0) {
			p.week[d] = 1
		}
	}
}

// look walks the days ahead.
func (p *pace) look(s *season, next int64, n int) {
	p.reached, p.early, p.late = make([]float64, farthest), make([]float64, farthest), make([]float64, farthest)
	sum := 0.0
	for i := range farthest {
		sum += p.level * p.week[(next+int64(i))%7] * s.factor(n, n+i)
		wide := math.Exp(normal90 * p.spread.at(float64(i+1)))
		p.reached[i], p.early[i], p.late[i] = sum, sum*wide, sum/wide
		if i > 0 {
			p.early[i], p.late[i] = max(p.early[i], p.early[i-1]), max(p.late[i], p.late[i-1])
		}
	}
}

// A season is what the same days did a year ago.
type season struct {
	sums  []float64
	mean  float64
	share float64 // how far the season is believed, 0 to 1
}

// newSeason believes in seasons as far as the two years that overlap agree;
// where they hardly overlap, half.
func newSeason(use, sums []float64) *season {
	n := len(use)
	s := &season{sums: sums, mean: sums[n] / float64(n)}
	if n < seasonFrom || s.mean <= 0 {
		return s
	}
	s.share = 0.5
	if overlap := n - fullYear - 2*seasonWide; overlap >= 168 {
		s.share = math.Max(0, s.agreement(n))
	}
	return s
}

// around is the mean of the days about day i.
func (s *season) around(i int) float64 {
	from, to := max(i-seasonWide, 0), min(i+seasonWide+1, len(s.sums)-1)
	return (s.sums[to] - s.sums[from]) / float64(to-from)
}

// agreement is the correlation of one year with the next, fortnight by
// fortnight.
func (s *season) agreement(n int) float64 {
	var x, y []float64
	for i := fullYear + seasonWide; i+seasonWide < n; i += 14 {
		x, y = append(x, s.around(i-fullYear)), append(y, s.around(i))
	}
	return correlation(x, y)
}

// factor is how much more is used on day i than about day from, by what the
// year before did.
func (s *season) factor(from, i int) float64 {
	if s.share == 0 {
		return 1
	}
	then := i - fullYear
	for then >= from {
		then -= fullYear
	}
	floor := seasonShare * s.mean
	return math.Pow((s.around(then)+floor)/(s.around(from-fullYear)+floor), s.share)
}

func correlation(x, y []float64) float64 {
	n := float64(len(x))
	var mx, my, xx, yy, xy float64
	for i := range x {
		mx, my = mx+x[i]/n, my+y[i]/n
	}
	for i := range x {
		dx, dy := x[i]-mx, y[i]-my
		xx, yy, xy = xx+dx*dx, yy+dy*dy, xy+dx*dy
	}
	if xx <= 0 || yy <= 0 {
		return 0
	}
	return xy / math.Sqrt(xx*yy)
}

// A spread is how far use over some days ahead strays from the pace: the
// standard deviation of the logarithm of their ratio, by days.
type spread [len(horizons)]float64

// horizons are the days ahead for which a spread is judged.
var horizons = [...]float64{7, 14, 28, 56, 112, 224, 448}

// What is taken for granted of a pump until its own past tells more: the
// spread of one week, of any time, how many forecasts of its own that counts
// as, and the least spread of all. Found good on simulated duty, no source.
const (
	weekSpread  = 0.20
	levelSpread = 0.12
	worth       = 1.0
	likeShorter = 0.7 // how far the spread over a longer time is taken from that over a shorter one
	leastSpread = 0.015
)

// judged makes the forecasts that could have been made in the past, and looks
// how far off they were.
func judged(sums, levels []float64, s *season) spread {
	var p spread
	n := len(levels) - 1
	small := 0.03 * sums[n] / float64(n)
	for h, days := range horizons {
		ahead, square, count := int(days), 0.0, 0.0
		for from := fewestDays; from+ahead <= n; from += 7 {
			actual := (sums[from+ahead] - sums[from]) / days
			e := math.Log((actual + small) / (levels[from] + small))
			square, count = square+e*e, count+1
		}
		apart := float64(n-fewestDays) / days // forecasts that do not overlap
		if count == 0 {
			apart = 0
		}
		before := weekSpread*weekSpread*7/days + levelSpread*levelSpread
		if h > 0 { // a pump that is steady over a month is likely to be steady over a year
			before = (1-likeShorter)*before + likeShorter*p[h-1]*p[h-1]
		}
		p[h] = math.Max(math.Sqrt((apart*square/math.Max(count, 1)+worth*before)/(apart+worth)), leastSpread)
	}
	return p
}

// at is the spread over so many days ahead, between the horizons by their
// logarithm, beyond the last as it was.
func (p *spread) at(days float64) float64 {
	if days <= horizons[0] {
		return p[0] * math.Sqrt(horizons[0]/math.Max(days, 1))
	}
	for h := 1; h < len(horizons); h++ {
		if days <= horizons[h] {
			x := math.Log2(days/horizons[h-1]) / math.Log2(horizons[h]/horizons[h-1])
			return p[h-1] + x*(p[h]-p[h-1])
		}
	}
	return p[len(horizons)-1]
}
