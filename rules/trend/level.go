package trend

import (
	"slices"
	"time"

	"pumpside/drivers"
)

// A level makes buckets of one resolution and puts them into blocks.
type level struct {
	resolution Resolution
	span       time.Duration
	series     []series

	open  bool
	from  time.Duration   // time since boot at which the first bucket begins
	until time.Duration   // and the last ends
	dated drivers.Instant // an instant in the block whose clock is believed
}

func newLevel(r Resolution, span time.Duration, keep []precision) level {
	l := level{resolution: r, span: span, series: make([]series, len(keep))}
	for i := range l.series {
		l.series[i].keep = keep[i]
	}
	return l
}

// over reports whether a block is open and at lies beyond it.
func (l *level) over(at *drivers.Instant) bool {
	return l.open && (at.SinceBoot >= l.until || at.Boot != l.dated.Boot)
}

// place is that of the bucket at falls into. With none open a block begins:
// on a full bucket of the wall clock, to end on a full span of it.
func (l *level) place(at *drivers.Instant) int32 {
	if !l.open {
		l.open = true
		l.from = at.SinceBoot - intoThe(at.Wall, time.Duration(l.resolution))
		l.until = l.from + l.span - intoThe(at.Wall, l.span).Truncate(time.Duration(l.resolution))
		l.dated = *at
	}
	if at.Synchronized || !l.dated.Synchronized {
		l.dated = *at
	}
	return int32((at.SinceBoot - l.from) / time.Duration(l.resolution))
}

// intoThe is how much of a span, counted from 1970, has passed at t.
func intoThe(t time.Time, span time.Duration) time.Duration {
	d := time.Duration(t.UnixMilli()) % (span / time.Millisecond) * time.Millisecond
	if d < 0 {
		d += span
	}
	return d
}

// start is the instant at which the first bucket begins, in whole milliseconds
// as it is stored.
func (l *level) start() drivers.Instant {
	start := l.dated
	start.SinceBoot = l.from.Truncate(time.Millisecond)
	start.Wall = l.dated.Wall.Add(l.from - l.dated.SinceBoot).Truncate(time.Millisecond)
	return start
}

// add puts v into a bucket of the k-th series. The one before is passed on to
// the coarser level, if there is one.
func (l *level) add(k int, place int32, v float64, coarser *level) {
	s := &l.series[k]
	if s.filling.n > 0 && s.filling.place == place {
		s.filling.add(v)
		return
	}
	l.pass(k, coarser)
	s.flush()
	s.filling = filling{place, 1, v, v, v}
}

// pass adds the bucket being filled to that of the coarser level it begins in.
func (l *level) pass(k int, coarser *level) {
	f := &l.series[k].filling
	if coarser == nil || f.n == 0 {
		return
	}
	begins := l.from + time.Duration(f.place)*time.Duration(l.resolution)
	place := int32(max(0, begins-coarser.from) / time.Duration(coarser.resolution))
	s := &coarser.series[k]
	if s.filling.n > 0 && s.filling.place == place {
		s.filling.merge(f)
		return
	}
	s.flush()
	s.filling = *f
	s.filling.place = place
}

// flush ends the buckets being filled and gives the number of buckets to the
// last that has a value.
func (l *level) flush(coarser *level) (count int) {
	for k := range l.series {
		l.pass(k, coarser)
		l.series[k].flush()
		count = max(count, int(l.series[k].done))
	}
	return count
}

// restart makes ready for the next block.
func (l *level) restart() {
	l.open = false
	for i := range l.series {
		l.series[i].restart()
	}
}

// block gives what was flushed as a block of its own.
func (l *level) block(names []string, count int) *Block {
	b := &Block{Resolution: l.resolution, Start: l.start(), Count: count}
	for i := range l.series {
		if s := &l.series[i]; len(s.data) > 0 {
			b.Series = append(b.Series, Series{names[i], uint8(s.keep), slices.Clone(s.data)})
		}
	}
	return b
}

// copy gives the open block apart: flushing it leaves l alone.
func (l *level) copy() level {
	c := *l
	c.series = slices.Clone(l.series)
	for i := range c.series {
		c.series[i].data = slices.Clip(c.series[i].data) // what is appended goes elsewhere
	}
	return c
}

// A ring keeps the last blocks of seconds, each in one piece of memory that is
// used again for a later one.
type ring struct {
	chunks []chunk
	next   int // the oldest, which the next one replaces
}

type chunk struct {
	start drivers.Instant
	count int
	ends  []int // of each series in data
	data  []byte
}

func (r *ring) push(l *level, count int) {
	c := &r.chunks[r.next]
	r.next = (r.next + 1) % len(r.chunks)
	size := 0
	for i := range l.series {
		size += len(l.series[i].data)
	}
	if cap(c.data) < size {
		c.data = make([]byte, 0, size)
	}
	if c.ends == nil {
		c.ends = make([]int, 0, len(l.series))
	}
	c.start, c.count, c.ends, c.data = l.start(), count, c.ends[:0], c.data[:0]
	for i := range l.series {
		c.data = append(c.data, l.series[i].data...)
		c.ends = append(c.ends, len(c.data))
	}
}

// blocks gives the chunks as blocks, oldest first.
func (r *ring) blocks(names []string, l *level) []*Block {
	var list []*Block
	for i := range r.chunks {
		c := &r.chunks[(r.next+i)%len(r.chunks)]
		if c.count == 0 {
			continue
		}
		b := &Block{Resolution: l.resolution, Start: c.start, Count: c.count}
		from := 0
		for k, to := range c.ends {
			if to > from {
				b.Series = append(b.Series, Series{names[k], uint8(l.series[k].keep), slices.Clone(c.data[from:to])})
			}
			from = to
		}
		list = append(list, b)
	}
	return list
}
