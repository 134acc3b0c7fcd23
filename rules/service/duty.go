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
// synchronised clock. What passed while the pump was not seen is spread evenly
// over the days it was not: the open day waits until that is counted.
type Duty struct {
	Days  []Day // full ones, without a hole
	Today int64 // the open day, in days since 1970 UTC; 0 before the first good clock
	Dawn  Totals

	clock drivers.Instant // from when on the clock has run evenly; not written
}

// How long a clock must have run evenly for its date to be believed, when that
// is more than a day from the open one. Going back drops days, so it waits for
// longer.
const (
	believedAhead = time.Hour
	believedBack  = 24 * time.Hour
	evenly        = time.Minute // of the clock with the time since boot
)

const secondsOfDay = 86400

func dayOf(t time.Time) int64 { return t.Unix() / secondsOfDay }

// Step moves the duty to now, when all that was run up to now is in the totals.
// A clock that goes back by a day changes nothing.
func (d *Duty) Step(now drivers.Instant, totals *Totals) {
	if !now.Synchronized {
		return
	}
	even := d.even(now)
	switch n := dayOf(now.Wall) - d.Today; {
	case d.Today == 0, n == 1, n > 1 && even >= believedAhead, n < -1 && even >= believedBack:
		d.turn(n, now, totals)
	}
}

// even is for how long the clock has run evenly with the time since boot.
func (d *Duty) even(now drivers.Instant) time.Duration {
	since, known := now.Since(d.clock)
	if !known || !now.SameBoot(d.clock) || (now.Wall.Sub(d.clock.Wall)-since).Abs() > evenly {
		d.clock = now
		return 0
	}
	return since
}

// turn closes n days and opens the next; back, it drops days that have not
// been yet. After several days the open one has its part of what was run too.
func (d *Duty) turn(n int64, now drivers.Instant, totals *Totals) {
	dawn := Totals{RunTime: totals.RunTime, Strokes: totals.Strokes}
	switch {
	case d.Today == 0 || n > mostDays || n < -int64(len(d.Days)):
		d.Days = nil
	case n < 0:
		d.Days = d.Days[:int64(len(d.Days))+n]
	default:
		if n > 1 {
			open := now.Wall.Sub(time.Unix((d.Today+n)*secondsOfDay, 0)).Seconds() / secondsOfDay
			dawn = between(d.Dawn, dawn, float64(n)/(float64(n)+open))
		}
		share := Day{Run: (dawn.RunTime - d.Dawn.RunTime) / time.Duration(n), Strokes: (dawn.Strokes - d.Dawn.Strokes) / float64(n)}
		share.Run, share.Strokes = max(share.Run, 0), max(share.Strokes, 0)
		for range n {
			d.Days = append(d.Days, share)
		}
		d.spill()
		if len(d.Days) > mostDays {
			d.Days = slices.Delete(d.Days, 0, len(d.Days)-mostDays)
		}
	}
	d.Today, d.Dawn = d.Today+n, dawn
}

// spill moves to the days before what no day can hold: the meter told of it
// late, and it cannot have been run on the day it was told.
func (d *Duty) spill() {
	const full = secondsOfDay * time.Second
	over := time.Duration(0)
	for i := len(d.Days) - 1; i >= 0; i-- {
		run := d.Days[i].Run + over
		if d.Days[i].Run = min(run, full); d.Days[i].Run == run {
			return
		}
		over = run - full
	}
}

// At gives the totals at an earlier moment; false when the agent did not see
// the pump then.
func (d *Duty) At(then time.Time, now drivers.Instant, totals *Totals) (Totals, bool) {
	day := dayOf(then)
	first := d.Today - int64(len(d.Days))
	if d.Today == 0 || !now.Synchronized || day < first || then.After(now.Wall) {
		return Totals{}, false
	}
	if day >= d.Today {
		dawn := time.Unix(d.Today*secondsOfDay, 0)
		return between(d.Dawn, *totals, min(then.Sub(dawn).Seconds()/max(now.Wall.Sub(dawn).Seconds(), 1e-9), 1)), true
	}
	passed := float64(then.Unix()-day*secondsOfDay) / secondsOfDay // of the day
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
