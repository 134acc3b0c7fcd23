package service

import (
	"encoding/base64"
	"encoding/binary"
	"fmt"
	"math"
	"slices"
	"time"

	"pumpside/drivers"
)

// A Day is what a pump did in one day, 0 to 24 h UTC.
type Day struct {
	Run     time.Duration // to 10 s
	Strokes float64       // per plunger, whole
}

// mostDays is how many days are kept: two years and the two months in which
// the year before last still tells the season.
const mostDays = 800

// A Duty is how much a pump worked, day by day: what forecasts rest on, and
// where the totals of an earlier day are taken from. Days come only from a
// synchronised clock. What passed while the agent was down is spread evenly
// over the days it was down.
type Duty struct {
	Days  []Day // full ones, without a hole
	Today int64 // the open day, in days since 1970 UTC; 0 before the first good clock
	Dawn  Totals
}

const secondsOfDay = 86400

func dayOf(t time.Time) int64 { return t.Unix() / secondsOfDay }

// Step moves the duty to now. A clock that goes back changes nothing.
func (d *Duty) Step(now drivers.Instant, totals *Totals) {
	if !now.Synchronized {
		return
	}
	day := dayOf(now.Wall)
	if d.Today == day {
		return
	}
	d.turn(day, totals)
}

func (d *Duty) turn(day int64, totals *Totals) {
	n := day - d.Today
	switch {
	case n < 0:
		return
	case d.Today == 0 || n > mostDays:
		*d = Duty{}
	default:
		share := Day{Run: (totals.RunTime - d.Dawn.RunTime) / time.Duration(n), Strokes: (totals.Strokes - d.Dawn.Strokes) / float64(n)}
		share.Run, share.Strokes = max(share.Run, 0), max(share.Strokes, 0)
		for range n {
			d.Days = append(d.Days, share)
		}
		if len(d.Days) > mostDays {
			d.Days = slices.Delete(d.Days, 0, len(d.Days)-mostDays)
		}
	}
	d.Today, d.Dawn = day, Totals{RunTime: totals.RunTime, Strokes: totals.Strokes}
}

// At gives the totals at an earlier moment; false when the agent did not see
// the pump then.
func (d *Duty) At(then time.Time, now drivers.Instant, totals *Totals) (Totals, bool) {
	day := dayOf(then)
	first := d.Today - int64(len(d.Days))
	if d.Today == 0 || !now.Synchronized || day < first || then.After(now.Wall) {
		return Totals{}, false
	}
	passed := float64(then.Unix()-day*secondsOfDay) / secondsOfDay // of the day
	if day == d.Today {
		so := now.Wall.Sub(time.Unix(d.Today*secondsOfDay, 0)).Seconds() / secondsOfDay
		return between(d.Dawn, *totals, min(passed/max(so, 1e-9), 1)), true
	}
	at := d.Dawn
	for i := len(d.Days) - 1; i >= 0; i-- {
		before := Totals{RunTime: at.RunTime - d.Days[i].Run, Strokes: at.Strokes - d.Days[i].Strokes}
		if first+int64(i) == day {
			return between(before, at, passed), true
		}
		at = before
	}
	return Totals{}, false
}

// between is the totals a share of the way from a to b.
func between(a, b Totals, share float64) Totals {
	return Totals{
		RunTime: a.RunTime + time.Duration(share*float64(b.RunTime-a.RunTime)),
		Strokes: a.Strokes + share*(b.Strokes-a.Strokes),
	}
}

// A day takes six bytes: tens of seconds, and strokes.
const (
	dayBytes = 6
	dayStep  = 10 * time.Second
)

// MarshalText writes the duty compactly, for the state file.
func (d Duty) MarshalText() ([]byte, error) {
	b := make([]byte, 0, 24+dayBytes*len(d.Days))
	b = binary.LittleEndian.AppendUint64(b, uint64(d.Today))
	b = binary.LittleEndian.AppendUint64(b, uint64(d.Dawn.RunTime))
	b = binary.LittleEndian.AppendUint64(b, math.Float64bits(d.Dawn.Strokes))
	for _, day := range d.Days {
		b = binary.LittleEndian.AppendUint16(b, uint16(min(day.Run/dayStep, math.MaxUint16)))
		b = binary.LittleEndian.AppendUint32(b, uint32(min(day.Strokes, math.MaxUint32)))
	}
	return base64.StdEncoding.AppendEncode(nil, b), nil
}

// UnmarshalText reads what MarshalText wrote.
func (d *Duty) UnmarshalText(text []byte) error {
	b, err := base64.StdEncoding.AppendDecode(nil, text)
	if err != nil {
		return fmt.Errorf("duty: %w", err)
	}
	if len(b) < 24 || (len(b)-24)%dayBytes != 0 {
		return fmt.Errorf("duty: %d bytes are no whole days", len(b))
	}
	*d = Duty{Today: int64(binary.LittleEndian.Uint64(b)), Dawn: Totals{
		RunTime: time.Duration(binary.LittleEndian.Uint64(b[8:])), Strokes: math.Float64frombits(binary.LittleEndian.Uint64(b[16:])),
	}}
	for b = b[24:]; len(b) > 0; b = b[dayBytes:] {
		d.Days = append(d.Days, Day{Run: time.Duration(binary.LittleEndian.Uint16(b)) * dayStep, Strokes: float64(binary.LittleEndian.Uint32(b[2:]))})
	}
	return nil
}
