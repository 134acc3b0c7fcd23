package main

import (
	"bytes"
	"fmt"
	"math"
	"strconv"
	"time"

	"pumpside/drivers"
)

// reading reads signal, value, quality and what may follow them.
func (f *readingsFile) reading(r *row, text []byte) (err error) {
	name, rest, _ := bytes.Cut(text, comma)
	value, rest, more := bytes.Cut(rest, comma)
	if !more {
		return errFields
	}
	quality, rest, _ := bytes.Cut(rest, comma)
	reason, half, _ := bytes.Cut(rest, comma)
	if r.reading, err = f.value(r.pump, name, value); err != nil {
		return err
	}
	if r.reading.Quality = drivers.Good; string(quality) != "good" {
		if err = r.reading.Quality.UnmarshalText(quality); err != nil {
			return err
		}
	}
	if len(reason) > 0 {
		if err = r.reading.Reason.UnmarshalText(reason); err != nil {
			return err
		}
	}
	if len(half) > 0 {
		var ok bool
		if r.half, ok = secondsOf(half); !ok {
			return fmt.Errorf("half_width_s %q is no number of seconds", half)
		}
	}
	return nil
}

func (f *readingsFile) value(pump string, name, value []byte) (r drivers.Reading, err error) {
	signal, known := f.signals[string(name)]
	if !known {
		if signal, known = f.find(pump, string(name)); !known {
			return r, fmt.Errorf("there is no signal %q", name)
		}
	}
	r.Signal = signal
	if r.Value, err = strconv.ParseFloat(string(value), 64); err != nil {
		return r, fmt.Errorf("value %q is no number", value)
	}
	return r, nil
}

func (f *readingsFile) plainRow(line []byte) (r row, err error) {
	at, rest, _ := bytes.Cut(line, comma)
	pump, rest, _ := bytes.Cut(rest, comma)
	name, value, more := bytes.Cut(rest, comma)
	if !more {
		return r, errFields
	}
	if len(at) == 0 || string(at) != f.lastAt {
		utc, ok := plainTime(string(at))
		if !ok {
			return r, fmt.Errorf("%q is no time; write 2026-03-01T12:00:00Z or seconds", at)
		}
		f.lastAt, f.lastUTC = string(at), utc
	}
	if f.first.IsZero() {
		f.first = f.lastUTC
	}
	r.pump = f.name(pump)
	r.at = drivers.Instant{Wall: f.lastUTC, Boot: "file", SinceBoot: time.Hour + f.lastUTC.Sub(f.first), Synchronized: true}
	if err := f.ascend(&r); err != nil {
		return r, err
	}
	value, _, _ = bytes.Cut(value, comma)
	r.reading, err = f.value(r.pump, name, value)
	r.reading.Quality = drivers.Good
	return r, err
}

// plainTime reads a time in RFC 3339 or in seconds, of which a time holds 292
// years to either side.
func plainTime(text string) (time.Time, bool) {
	const most = math.MaxInt64 / 1e9
	if s, err := strconv.ParseFloat(text, 64); err == nil {
		return time.Unix(0, int64(s*1e9)).UTC(), math.Abs(s) < most // NaN is not
	}
	utc, err := time.Parse(time.RFC3339Nano, text)
	return utc, err == nil
}

func (f *readingsFile) instant(r *row, wall, boot, since, pump []byte) error {
	if len(wall) == 0 || string(wall) != f.lastAt {
		utc, err := time.Parse(time.RFC3339Nano, string(bytes.TrimPrefix(wall, []byte{'~'})))
		if err != nil {
			return fmt.Errorf("%q is no time; write 2026-03-01T12:00:00Z", wall)
		}
		f.lastAt, f.lastUTC = string(wall), utc
	}
	at, ok := secondsOf(since)
	if !ok {
		return fmt.Errorf("since_boot_s %q is no number of seconds", since)
	}
	r.pump = f.name(pump)
	r.at = drivers.Instant{Wall: f.lastUTC, Boot: f.name(boot), SinceBoot: at, Synchronized: wall[0] != '~'}
	return f.ascend(r)
}

// ascend refuses times of a pump that go back within a boot.
func (f *readingsFile) ascend(r *row) error {
	if f.last == nil || f.last.pump != r.pump {
		last, known := f.rows[r.pump]
		if !known {
			last = &lastRow{pump: r.pump}
			f.rows[r.pump] = last
		}
		f.last = last
	}
	if r.at.Boot == f.last.boot && r.at.SinceBoot < f.last.since {
		return fmt.Errorf("time goes back by %v; rows must ascend", f.last.since-r.at.SinceBoot)
	}
	f.last.boot, f.last.since = r.at.Boot, r.at.SinceBoot
	return nil
}

// name keeps one copy of each text that comes again and again.
func (f *readingsFile) name(b []byte) string {
	if f.last != nil && f.last.pump == string(b) {
		return f.last.pump
	}
	if s, ok := f.names[string(b)]; ok {
		return s
	}
	s := string(b)
	f.names[s] = s
	return s
}

// secondsOf reads a number of seconds, below 1e9, to the nanosecond: exactly,
// where a float would round.
func secondsOf(text []byte) (time.Duration, bool) {
	whole, part, _ := bytes.Cut(text, []byte{'.'})
	if len(whole) == 0 || len(whole) > 9 || len(part) > 9 {
		return plainSeconds(text)
	}
	d := int64(0)
	for _, c := range whole {
		if c < '0' || c > '9' {
			return plainSeconds(text)
		}
		d = 10*d + int64(c-'0')
	}
	for i := range 9 {
		d *= 10
		if i < len(part) {
			if part[i] < '0' || part[i] > '9' {
				return plainSeconds(text)
			}
			d += int64(part[i] - '0')
		}
	}
	return time.Duration(d), true
}

// plainSeconds reads what is written otherwise, such as 3.6e3.
func plainSeconds(text []byte) (time.Duration, bool) {
	s, err := strconv.ParseFloat(string(text), 64)
	if err != nil || !(s >= 0) || s >= 1e9 {
		return 0, false
	}
	return time.Duration(s*1e9 + 0.5), true
}
