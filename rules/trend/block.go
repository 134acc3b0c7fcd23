package trend

import (
	"encoding/binary"
	"errors"
	"fmt"
	"iter"
	"time"

	"pumpside/drivers"
)

// A Resolution is the length of a bucket.
type Resolution time.Duration

// The resolutions.
const (
	Second = Resolution(time.Second)
	Minute = Resolution(time.Minute)
	Hour   = Resolution(time.Hour)
)

// String gives the short name blocks are stored under: "1s", "1m", "1h".
func (r Resolution) String() string {
	switch r {
	case Second:
		return "1s"
	case Minute:
		return "1m"
	case Hour:
		return "1h"
	}
	return time.Duration(r).String()
}

// Keep is how long blocks of that resolution are of use.
func (r Resolution) Keep() time.Duration {
	const day = 24 * time.Hour
	switch r {
	case Second:
		return time.Hour
	case Minute:
		return 30 * day
	}
	return 2 * 365 * day
}

// For gives the coarsest resolution that still has n points between from and
// to and reaches back to from at the time now; the one that reaches furthest
// back if none does.
func For(from, to, now time.Time, n int) Resolution {
	for _, r := range []Resolution{Hour, Minute, Second} {
		if int64(to.Sub(from)/time.Duration(r)) >= int64(n) && now.Sub(from) <= r.Keep() {
			return r
		}
	}
	for _, r := range []Resolution{Second, Minute} {
		if now.Sub(from) <= r.Keep() {
			return r
		}
	}
	return Hour
}

// A Block is a stretch of history of one pump. Nobody changes it.
type Block struct {
	Resolution Resolution      `json:"resolution"`
	Start      drivers.Instant `json:"start"` // of its first bucket
	Count      int             `json:"count"` // buckets from the first to the last, gaps among them
	Series     []Series        `json:"series"`
}

// A Series is the buckets of one signal in a block.
type Series struct {
	Name      string `json:"signal"`
	Precision uint8  `json:"precision"` // bits left out of a float32
	Data      []byte `json:"data"`
}

// Stop is the wall time at which the block ends.
func (b *Block) Stop() time.Time {
	return b.Start.Wall.Add(time.Duration(b.Count) * time.Duration(b.Resolution))
}

// Buckets goes through the buckets of a signal that have a value, each with
// its place in the block.
func (b *Block) Buckets(name string) iter.Seq2[int, Bucket] {
	return func(yield func(int, Bucket) bool) {
		for i := range b.Series {
			if s := &b.Series[i]; s.Name == name {
				r := s.reader()
				for bucket, ok := r.next(); ok; bucket, ok = r.next() {
					if !yield(r.place, bucket) {
						return
					}
				}
			}
		}
	}
}

func (s *Series) reader() reader {
	return reader{data: s.Data, keep: precision(s.Precision), place: -1}
}

// version is that of a block's stored form.
const version = 1

// maxCount is more buckets than any block has.
const maxCount = 1 << 16

// AppendBinary appends the stored form of b. It never fails.
func (b *Block) AppendBinary(to []byte) ([]byte, error) {
	to = append(to, version)
	to = binary.AppendUvarint(to, uint64(time.Duration(b.Resolution)/time.Second))
	to = binary.AppendVarint(to, b.Start.Wall.UnixMilli())
	to = binary.AppendVarint(to, b.Start.SinceBoot.Milliseconds())
	to = append(to, oneIf(b.Start.Synchronized))
	to = appendPart(to, b.Start.Boot)
	to = binary.AppendUvarint(to, uint64(b.Count))
	to = binary.AppendUvarint(to, uint64(len(b.Series)))
	for i := range b.Series {
		s := &b.Series[i]
		to = appendPart(to, s.Name)
		to = append(to, s.Precision)
		to = appendPart(to, s.Data)
	}
	return to, nil
}

func appendPart[T string | []byte](to []byte, part T) []byte {
	return append(binary.AppendUvarint(to, uint64(len(part))), part...)
}

func oneIf(yes bool) byte {
	if yes {
		return 1
	}
	return 0
}

// MarshalBinary gives the stored form of b.
func (b *Block) MarshalBinary() ([]byte, error) { return b.AppendBinary(nil) }

var errDamaged = errors.New("block of history is damaged")

// UnmarshalBinary reads the stored form and checks all of it, so that going
// through it later cannot fail. It keeps no part of text. On an error b is
// unchanged.
func (b *Block) UnmarshalBinary(text []byte) error {
	if len(text) > 0 && text[0] > version {
		return fmt.Errorf("block of history has version %d, this program knows %d", text[0], version)
	}
	r := partReader{reader: reader{data: text}}
	r.byte()
	back := Block{Resolution: Resolution(time.Duration(min(r.number(), uint64(Hour))) * time.Second)}
	back.Start.Wall = time.UnixMilli(r.signed()).UTC()
	since := r.signed()
	back.Start.SinceBoot = time.Duration(since) * time.Millisecond
	back.Start.Synchronized = r.byte() == 1
	back.Start.Boot = string(r.part())
	back.Count = int(min(r.number(), maxCount+1))
	for range min(r.number(), maxCount) {
		back.Series = append(back.Series, Series{string(r.part()), r.byte(), append([]byte(nil), r.part()...)})
		if r.bad || !back.Series[len(back.Series)-1].sound(back.Count) {
			return errDamaged
		}
	}
	if r.bad || len(r.data) > 0 || back.Count > maxCount || back.Resolution <= 0 || back.Resolution > Hour ||
		back.Start.SinceBoot.Milliseconds() != since {
		return errDamaged
	}
	*b = back
	return nil
}

// sound reports whether all of s can be read, within so many buckets.
func (s *Series) sound(count int) bool {
	if precision(s.Precision) != measured && precision(s.Precision) != counted {
		return false
	}
	r := s.reader()
	for _, ok := r.next(); ok; _, ok = r.next() {
		if r.place >= count {
			return false
		}
	}
	return !r.bad
}

// A partReader reads what is around the series.
type partReader struct{ reader }

func (r *partReader) byte() byte {
	if len(r.data) == 0 {
		r.bad = true
		return 0
	}
	b := r.data[0]
	r.data = r.data[1:]
	return b
}

func (r *partReader) signed() int64 {
	n := r.number()
	return int64(n>>1) ^ -int64(n&1)
}

func (r *partReader) part() []byte {
	n := r.number()
	if n > uint64(len(r.data)) {
		r.bad, r.data = true, nil
		return nil
	}
	part := r.data[:n]
	r.data = r.data[n:]
	return part
}
