package regmap

import (
	"time"

	"pumpside/drivers"
)

// A Decoder decodes the answers of one device and remembers what quality over
// time needs: NE 43's hold, frozen and repeated samples. It allocates nothing
// after [NewDecoder]. One goroutine at a time may use it.
type Decoder struct {
	points  []Point
	memory  []memory      // of each point
	boot    string        // the boot that the times in memory belong to
	stirred time.Duration // when a lively signal last moved, since boot
	scratch [1]uint16     // a bit as a register
}

// memory is what a Decoder remembers of one point.
type memory struct {
	loop   loop
	motion motion
}

// NewDecoder makes a Decoder with nothing remembered. The map must have no
// [Map.Problems] and must not change any more.
func NewDecoder(m Map) *Decoder {
	return &Decoder{points: m.Points, memory: make([]memory, len(m.Points))}
}

// Decode appends to dst the value of every point that the answer holds whole,
// in the order of the map. Answers must come in the order of their instants;
// what is remembered of another boot is forgotten.
func (d *Decoder) Decode(dst []Value, at drivers.Instant, answer Answer) []Value {
	if at.Boot != d.boot {
		clear(d.memory)
		d.boot, d.stirred = at.Boot, 0
	}
	first := len(dst)
	for i := range d.points {
		p, m := &d.points[i], &d.memory[i]
		registers := answer.cut(p.Span(), &d.scratch)
		if registers == nil {
			continue
		}
		v := p.decode(registers, &m.loop, at.SinceBoot)
		v.Point = i
		if m.motion.note(v.Raw) && p.stirs() {
			d.stirred = at.SinceBoot
		}
		dst = append(dst, v)
	}
	// Second, because whether a signal is frozen depends on the others.
	for i := range dst[first:] {
		v := &dst[first+i]
		d.memory[v.Point].motion.judge(&d.points[v.Point], v, at.SinceBoot, d.stirred)
	}
	return dst
}

// Fail appends to dst a bad value without a number for every point that lies
// in s: what a read that got no answer comes to.
func (d *Decoder) Fail(dst []Value, s Span, reason drivers.Reason) []Value {
	for i := range d.points {
		if s.Contains(d.points[i].Span()) {
			dst = append(dst, failed(i, reason))
		}
	}
	return dst
}
