package modbus

import (
	"errors"
	"os"
	"time"
)

// A line is what is known of an RTU line between two transactions.
type line struct {
	asked   *unit         // the unit that was asked last, nil if none was
	heard   time.Time     // when the last byte was heard, or the line was opened or given up
	silence time.Duration // for how long after heard nothing may be sent
}

// tolerableStray is how many stray bytes in a row are taken for noise. More
// may be an answer, and then the line has to be silent for the late limit.
const tolerableStray = 3

// spoil demands that the line be silent for d from now.
func (l *line) spoil(d time.Duration) {
	l.heard, l.silence = time.Now(), max(l.silence, d)
}

// clear returns when the line may be used if it stays silent.
func (l *line) clear() time.Time { return l.heard.Add(l.silence) }

// frameGap is the silence between an answer and the next request. A serial
// server keeps it by itself.
func (t *transport) frameGap() time.Duration {
	if t.settings.Kind != RTU {
		return 0
	}
	return t.settings.Line.Gap()
}

// lateLimit is the silence after which no answer can be on the way.
func (t *transport) lateLimit() time.Duration {
	if t.line.asked == nil {
		return t.settings.LateLimit
	}
	return t.line.asked.late.limit(t.settings)
}

// settle listens until the line has been silent for as long as it must be,
// and drops what it hears.
func (t *transport) settle() error {
	t.firstByte = time.Time{}
	latest := t.deadline.Add(-t.needs)
	n, err := t.link.poll(t.buf[:]) // came at a time nobody knows
	for heard := 0; ; {
		if err != nil {
			return t.spoilt(err)
		}
		if n > 0 {
			heard = t.overheard(heard, n)
		}
		switch now := time.Now(); {
		case t.ctx.Err() != nil:
			return t.ctx.Err()
		case !now.Before(t.line.clear()):
			t.line.silence = t.frameGap()
			return nil
		case !now.Before(latest):
			return faultf(Settling, "line was not yet silent for %v", t.line.silence)
		}
		n, err = t.listen(t.buf[heard:], latest)
		if n > 0 && heard == 0 {
			t.firstByte = time.Now()
		}
	}
}

// listen reads what comes until the line may be used, or until latest.
func (t *transport) listen(p []byte, latest time.Time) (int, error) {
	until := t.line.clear()
	if latest.Before(until) {
		until = latest
	}
	if err := t.link.arm(until); err != nil {
		return 0, err
	}
	if t.ctx.Err() != nil {
		return 0, nil
	}
	n, err := t.link.read(p)
	if errors.Is(err, os.ErrDeadlineExceeded) {
		err = nil
	}
	return n, err
}

// overheard judges n more bytes that came unasked, behind those heard before,
// and returns how many bytes of the buffer they fill together.
func (t *transport) overheard(heard, n int) int {
	t.facts.Stray += uint64(n)
	t.line.heard = time.Now()
	all := t.buf[:heard+n]
	if len(all) > tolerableStray {
		t.line.spoil(t.lateLimit())
	}
	if u := t.line.asked; u != nil && (rtuFraming{}).whole(u.id, all) {
		t.facts.LateFrame++
		if !t.firstByte.IsZero() {
			u.late.seen(t.firstByte.Sub(t.requested()))
			t.line.spoil(t.lateLimit())
		}
	}
	if len(all) > maxFrame {
		return 0
	}
	return len(all)
}
