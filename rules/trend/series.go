package trend

import (
	"encoding/binary"
	"math"
)

// A filling is the bucket that readings are put into.
type filling struct {
	place    int32 // of the bucket in its block
	n        uint32
	sum      float64
	low, top float64
}

func (f *filling) add(v float64) {
	f.n++
	f.sum += v
	if v < f.low { // no NaN comes here, so this does what min does and costs less
		f.low = v
	} else if v > f.top {
		f.top = v
	}
}

func (f *filling) merge(g *filling) {
	f.n += g.n
	f.sum += g.sum
	f.low, f.top = min(f.low, g.low), max(f.top, g.top)
}

// A series is one signal's part of an open block: the buckets that are done,
// encoded, and the one being filled.
//
// The encoding is a row of unsigned varints. A bucket is 1 plus twice the
// zigzag of its mean's code less that of the bucket before, plus 1 if lowest
// and highest are the same; else their distances from the mean follow. 0 and a
// number is that many buckets without a value.
type series struct {
	filling filling
	done    int32 // buckets encoded, gaps among them
	mean    code  // of the last one
	keep    precision
	data    []byte
}

// flush encodes the bucket being filled, if there is one.
func (s *series) flush() {
	f := &s.filling
	if f.n == 0 {
		return
	}
	if gap := f.place - s.done; gap > 0 {
		s.data = binary.AppendUvarint(append(s.data, 0), uint64(gap))
	}
	if f.n == 1 {
		s.put(s.keep.code(f.sum), 0, 0)
	} else {
		mean := s.keep.code(max(f.low, min(f.sum/float64(f.n), f.top))) // rounding may push it out
		s.put(mean, mean-s.keep.code(f.low), s.keep.code(f.top)-mean)
	}
	s.done = f.place + 1
	f.n = 0
}

// put encodes a bucket by its mean and how far below and above it the others are.
func (s *series) put(mean, below, above code) {
	step := int64(mean) - int64(s.mean)
	zigzag := uint64(step<<1) ^ uint64(step>>63)
	s.mean = mean
	if below == 0 && above == 0 {
		s.data = binary.AppendUvarint(s.data, zigzag<<1+2)
		return
	}
	s.data = binary.AppendUvarint(s.data, zigzag<<1+1)
	s.data = binary.AppendUvarint(s.data, uint64(uint32(below)))
	s.data = binary.AppendUvarint(s.data, uint64(uint32(above)))
}

// restart empties the series for the next block and keeps its buffer.
func (s *series) restart() { *s = series{keep: s.keep, data: s.data[:0]} }

// A Bucket is what was measured in one step of time.
type Bucket struct{ Min, Mean, Max float64 }

// A reader goes through an encoded series.
type reader struct {
	data  []byte
	keep  precision
	place int // of the bucket read last
	mean  code
	bad   bool
}

// next gives the next bucket that has a value; ok is false at the end.
func (r *reader) next() (b Bucket, ok bool) {
	if len(r.data) == 0 {
		return b, false
	}
	head := r.number()
	if head == 0 {
		if gap := r.number(); gap == 0 || gap > maxCount {
			r.bad = true
		} else {
			r.place += int(gap)
		}
		head = r.number()
	}
	r.place++
	if head == 0 || r.bad {
		r.bad, r.data = true, nil
		return b, false
	}
	flat, zigzag := head&1 == 0, (head-1)>>1
	if flat {
		zigzag = (head - 2) >> 1
	}
	r.mean += code(int64(zigzag>>1) ^ -int64(zigzag&1))
	b.Mean = r.keep.value(r.mean)
	b.Min, b.Max = b.Mean, b.Mean
	if !flat {
		below, above := code(r.number()), code(r.number())
		b.Min, b.Max = r.keep.value(r.mean-below), r.keep.value(r.mean+above)
	}
	if r.bad || !(b.Min <= b.Mean && b.Mean <= b.Max) || math.IsInf(b.Min, 0) || math.IsInf(b.Max, 0) {
		r.bad, r.data = true, nil
		return b, false
	}
	return b, true
}

func (r *reader) number() uint64 {
	n, size := binary.Uvarint(r.data)
	if size <= 0 {
		r.bad, r.data = true, nil
		return 0
	}
	r.data = r.data[size:]
	return n
}
