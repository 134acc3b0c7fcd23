package counters

import (
	"encoding/binary"
	"encoding/hex"
	"fmt"
	"math"
	"strings"
	"time"
)

// A codec goes over fields one way or the other, so that their order is
// written down once. What is given as like is something both ways know that
// the field is often equal to or near: only the difference is stored.
type codec interface {
	flags(all ...*bool)
	number(*uint64)
	duration(d *time.Duration, like time.Duration)
	float(f *float64, like float64)
	text(*string)
}

func unsigned[T ~int | ~uint8 | ~uint16 | ~uint32 | ~uint64](c codec, field *T) {
	n := uint64(*field)
	c.number(&n)
	*field = T(n)
}

func durations(c codec, all ...*time.Duration) {
	for _, d := range all {
		c.duration(d, 0)
	}
}

func float[T ~float64](c codec, field *T) {
	f := float64(*field)
	c.float(&f, 0)
	*field = T(f)
}

func singles(c codec, all ...*float32) {
	for _, s := range all {
		f := float64(*s)
		c.float(&f, 0)
		*s = float32(max(-mostValue, min(f, mostValue)))
	}
}

// An encoder appends. Integers are varints. Of a float the bytes that end in
// zeros are left out: most of ours are short binary fractions.
type encoder struct{ b []byte }

func (e *encoder) flags(all ...*bool) {
	var set uint64
	for i, f := range all {
		if *f {
			set |= 1 << i
		}
	}
	e.number(&set)
}

func (e *encoder) number(n *uint64) { e.b = binary.AppendUvarint(e.b, *n) }

// odd stands before a duration that is no whole number of ticks; it is itself
// no number of ticks that a duration could have.
const odd = math.MaxInt64

func (e *encoder) duration(d *time.Duration, like time.Duration) {
	n := *d - like
	if n%tick == 0 {
		e.b = binary.AppendVarint(e.b, int64(n/tick))
		return
	}
	e.b = binary.AppendVarint(binary.AppendVarint(e.b, odd), int64(n))
}

func (e *encoder) float(f *float64, like float64) {
	var all [8]byte
	binary.BigEndian.PutUint64(all[:], math.Float64bits(*f)^math.Float64bits(like))
	n := len(all)
	for n > 0 && all[n-1] == 0 {
		n--
	}
	e.b = append(append(e.b, byte(n)), all[:n]...)
}

// text writes the bytes behind their number plus one. A boot id is a UUID:
// behind a zero sixteen bytes stand for its text.
func (e *encoder) text(s *string) {
	if id, ok := parseUUID(*s); ok {
		e.b = append(append(e.b, 0), id[:]...)
		return
	}
	e.b = append(binary.AppendUvarint(e.b, uint64(len(*s)+1)), *s...)
}

// A decoder reads what an encoder wrote; bad says that it was something else.
type decoder struct {
	b   []byte
	bad bool
}

// take gives the next n bytes, or nil if there are no more so many.
func (d *decoder) take(n uint64) []byte {
	if d.bad || n > uint64(len(d.b)) {
		d.b, d.bad = nil, true
		return nil
	}
	taken := d.b[:n]
	d.b = d.b[n:]
	return taken
}

func (d *decoder) flags(all ...*bool) {
	var set uint64
	d.number(&set)
	for i, f := range all {
		*f = set>>i&1 == 1
	}
}

func (d *decoder) number(n *uint64) {
	v, size := binary.Uvarint(d.b)
	if size <= 0 {
		d.bad = true
	}
	d.take(uint64(max(size, 0)))
	*n = v
}

func (d *decoder) duration(t *time.Duration, like time.Duration) {
	n := d.varint()
	if n == odd {
		*t = like + time.Duration(d.varint())
		return
	}
	*t = like + time.Duration(n)*tick
}

func (d *decoder) varint() int64 {
	v, size := binary.Varint(d.b)
	if size <= 0 {
		d.bad = true
	}
	d.take(uint64(max(size, 0)))
	return v
}

func (d *decoder) float(f *float64, like float64) {
	var all [8]byte
	if n := d.take(1); n != nil {
		d.bad = d.bad || n[0] > 8
		copy(all[:], d.take(uint64(n[0])))
	}
	*f = math.Float64frombits(binary.BigEndian.Uint64(all[:]) ^ math.Float64bits(like))
	if math.IsNaN(*f) || math.IsInf(*f, 0) {
		*f, d.bad = 0, true
	}
}

func (d *decoder) text(s *string) {
	var n uint64
	d.number(&n)
	if n > 0 {
		*s = string(d.take(n - 1))
		return
	}
	if id := d.take(16); id != nil {
		*s = formatUUID(id)
	}
}

// parseUUID reads the text of RFC 9562, section 4, in lower case.
func parseUUID(s string) (id [16]byte, ok bool) {
	digits := strings.ReplaceAll(s, "-", "")
	if len(s) != 36 || len(digits) != 32 {
		return id, false
	}
	if _, err := hex.Decode(id[:], []byte(digits)); err != nil {
		return id, false
	}
	return id, formatUUID(id[:]) == s
}

func formatUUID(id []byte) string {
	return fmt.Sprintf("%x-%x-%x-%x-%x", id[:4], id[4:6], id[6:8], id[8:10], id[10:])
}
