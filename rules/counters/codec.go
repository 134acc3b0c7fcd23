package counters

import (
	"encoding/binary"
	"encoding/hex"
	"fmt"
	"math"
	"math/bits"
	"strings"
	"time"
)

// A codec goes over fields one way or the other, so that their order is
// written down once.
type codec interface {
	flags(all ...*bool)
	number(*uint64)
	duration(*time.Duration)
	float(*float64)
	text(*string)
}

// An encoder appends. Numbers are varints; of a float the bytes are reversed
// first, for most of ours are short binary fractions that end in zeros.
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

func (e *encoder) number(n *uint64)          { e.b = binary.AppendUvarint(e.b, *n) }
func (e *encoder) duration(d *time.Duration) { e.b = binary.AppendVarint(e.b, int64(*d)) }

func (e *encoder) float(f *float64) {
	e.b = binary.AppendUvarint(e.b, bits.ReverseBytes64(math.Float64bits(*f)))
}

// text writes the bytes behind their number. A boot id is a UUID: sixteen
// bytes behind a zero for a number are its text.
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

func (d *decoder) advance(n int) {
	if n <= 0 {
		d.b, d.bad = nil, true
		return
	}
	d.b = d.b[n:]
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
	d.advance(size)
	*n = v
}

func (d *decoder) duration(t *time.Duration) {
	v, size := binary.Varint(d.b)
	d.advance(size)
	*t = time.Duration(v)
}

func (d *decoder) float(f *float64) {
	var n uint64
	d.number(&n)
	*f = math.Float64frombits(bits.ReverseBytes64(n))
	if math.IsNaN(*f) || math.IsInf(*f, 0) {
		*f, d.bad = 0, true
	}
}

func (d *decoder) text(s *string) {
	var n uint64
	d.number(&n)
	size := n - 1
	if n == 0 {
		size = 16
	}
	if d.bad || uint64(len(d.b)) < size {
		d.b, d.bad = nil, true
		return
	}
	*s = string(d.b[:size])
	if n == 0 {
		*s = formatUUID(d.b[:16])
	}
	d.b = d.b[size:]
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
