package main

import (
	"bufio"
	"bytes"
	"compress/gzip"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"
	"time"

	"pumpside/drivers"
)

// A readings file is text, one row a line, plain or compressed with gzip:
//
//	# pumpside readings 1
//	# config 3f2a9c01d4e5
//	# state gp-1 {"version":1,…}
//	kind,time,boot,since_boot_s,pump,signal,value,quality,reason
//	reading,2026-03-01T12:00:00Z,boot-a,3600.02,gp-1,discharge_pressure,7061000,good,
//	tick,2026-03-01T12:00:01Z,boot-a,3601,gp-1
//	command,2026-03-01T12:00:05Z,boot-a,3605,gp-1,"{""user"":""anna"",…}"
//
// Lines that begin with # say how it began: the hash of the configuration and,
// for each pump, the saved state to start from; both may be missing. Values are
// in the base unit of the signal's dimension (Pa, m³/s, °C, rpm, W, …). Rows of
// one pump with the same since_boot_s are one batch. Times ascend.
//
// A plain file has no kind:
//
//	time,pump,signal,value
//
// with times in RFC 3339 or in seconds, all of one boot, all good.
type readingsFile struct {
	config string            // hash; "" when not said
	states map[string]string // saved, by pump

	lines   *bufio.Scanner
	line    int
	plain   bool
	skip    bool          // go on after a bad line
	skipped int           // lines
	bad     func(error)   // told of each
	batch   drivers.Batch // being gathered
	pump    string        // of batch
	open    bool          // batch has something
	first   time.Time     // of a plain file
	since   time.Duration // of the last row
	lastAt  string        // text of the last row's time, and
	lastUTC time.Time     // what it is
	pumps   map[string]string
	signals map[string]drivers.Signal
	find    func(pump, name string) (drivers.Signal, bool)
	fields  [9][]byte
}

// openReadings begins reading; auxiliary gives a pump's site-named signals.
func openReadings(r io.Reader, auxiliary func(pump, name string) (drivers.Signal, bool)) (*readingsFile, error) {
	in := bufio.NewReaderSize(r, 1<<16)
	if magic, _ := in.Peek(2); len(magic) == 2 && magic[0] == 0x1f && magic[1] == 0x8b {
		z, err := gzip.NewReader(in)
		if err != nil {
			return nil, err
		}
		in = bufio.NewReaderSize(z, 1<<16)
	}
	f := &readingsFile{states: map[string]string{}, lines: bufio.NewScanner(in), pumps: map[string]string{}, signals: map[string]drivers.Signal{}}
	f.lines.Buffer(make([]byte, 1<<16), 64<<20) // a saved state is one line
	for s := drivers.NoSignal + 1; s < drivers.SignalCount; s++ {
		f.signals[s.String()] = s
	}
	f.find = auxiliary
	return f, f.header()
}

// header reads to the row of names.
func (f *readingsFile) header() error {
	for f.lines.Scan() {
		f.line++
		line := f.lines.Text()
		note, isNote := strings.CutPrefix(line, "#")
		if !isNote {
			names := strings.Split(strings.TrimSpace(line), ",")
			switch {
			case names[0] == "kind":
				return nil
			case line == "time,pump,signal,value":
				f.plain = true
				return nil
			}
			return fmt.Errorf("line %d: %q is no header; a readings file has kind,time,boot,since_boot_s,pump,signal,value,quality,reason or time,pump,signal,value", f.line, line)
		}
		word, rest, _ := strings.Cut(strings.TrimSpace(note), " ")
		switch word {
		case "config":
			f.config = rest
		case "state":
			pump, state, _ := strings.Cut(rest, " ")
			f.states[pump] = state
		}
	}
	return errors.Join(f.lines.Err(), errors.New("there is no header"))
}

// next gives the next batch and its pump, io.EOF at the end. The batch is valid
// until the call after.
func (f *readingsFile) next(into *drivers.Batch) (pump string, err error) {
	into.Readings, into.Commands = into.Readings[:0], into.Commands[:0]
	for f.lines.Scan() {
		f.line++
		r, err := f.row(f.lines.Bytes())
		if err != nil {
			if err = fmt.Errorf("line %d: %w", f.line, err); !f.skip {
				return "", err
			}
			f.skipped++
			f.bad(err)
			continue
		}
		if f.open && (r.pump != f.pump || r.at != f.batch.At) {
			pump = f.pump
			f.take(into)
		}
		f.put(r)
		if pump != "" {
			return pump, nil
		}
	}
	if err := f.lines.Err(); err != nil {
		return "", fmt.Errorf("after line %d: %w", f.line, err)
	}
	if !f.open {
		return "", io.EOF
	}
	pump = f.pump
	f.take(into)
	return pump, nil
}

// take hands the gathered batch over.
func (f *readingsFile) take(into *drivers.Batch) {
	*into, f.batch = f.batch, *into
	f.open = false
}

func (f *readingsFile) put(r row) {
	f.pump, f.batch.At, f.batch.HalfWidth, f.open = r.pump, r.at, 0, true
	switch {
	case r.command != nil:
		f.batch.Commands = append(f.batch.Commands, *r.command)
	case r.reading.Signal != drivers.NoSignal:
		f.batch.Readings = append(f.batch.Readings, r.reading)
	}
}

// A row is one line.
type row struct {
	pump    string
	at      drivers.Instant
	reading drivers.Reading  // its Signal is 0 for a tick or command
	command *drivers.Command // nil for others
}

var errFields = errors.New("too few fields")

func (f *readingsFile) row(line []byte) (r row, err error) {
	n := 0
	rest := line
	for n < len(f.fields) {
		i := bytes.IndexByte(rest, ',')
		if i < 0 || n == 5 && len(rest) > 0 && rest[0] == '"' { // a command's text
			f.fields[n] = rest
			n++
			break
		}
		f.fields[n] = rest[:i]
		rest = rest[i+1:]
		n++
	}
	if f.plain {
		return f.plainRow(n)
	}
	if n < 5 {
		return r, errFields
	}
	if r.at, err = f.instant(f.fields[1], f.fields[2], f.fields[3]); err != nil {
		return r, err
	}
	r.pump = f.name(f.fields[4])
	switch string(f.fields[0]) {
	case "tick":
		return r, nil
	case "command":
		r.command = new(drivers.Command)
		return r, f.command(n, r.command)
	case "reading":
		if n < 8 {
			return r, errFields
		}
		r.reading, err = f.reading(r.pump, f.fields[5], f.fields[6])
		if err == nil {
			err = r.reading.Quality.UnmarshalText(f.fields[7])
		}
		if err == nil && n > 8 && len(f.fields[8]) > 0 {
			err = r.reading.Reason.UnmarshalText(f.fields[8])
		}
		return r, err
	}
	return r, fmt.Errorf("kind %q is not reading, command or tick", f.fields[0])
}

func (f *readingsFile) command(n int, c *drivers.Command) error {
	if n < 6 {
		return errFields
	}
	text := string(f.fields[5])
	if strings.HasPrefix(text, `"`) {
		text = strings.ReplaceAll(strings.TrimSuffix(text[1:], `"`), `""`, `"`)
	}
	if err := json.Unmarshal([]byte(text), c); err != nil {
		return fmt.Errorf("command: %w", err)
	}
	return nil
}

func (f *readingsFile) plainRow(n int) (r row, err error) {
	if n < 4 {
		return r, errFields
	}
	at := f.lastUTC
	if string(f.fields[0]) != f.lastAt {
		if s, err := strconv.ParseFloat(string(f.fields[0]), 64); err == nil {
			at = time.Unix(0, int64(s*1e9)).UTC()
		} else if at, err = time.Parse(time.RFC3339Nano, string(f.fields[0])); err != nil {
			return r, fmt.Errorf("%q is no time; write 2026-03-01T12:00:00Z or seconds", f.fields[0])
		}
		f.lastAt, f.lastUTC = string(f.fields[0]), at
	}
	if f.first.IsZero() {
		f.first = at
	}
	r.at = drivers.Instant{Wall: at, Boot: "file", SinceBoot: time.Hour + at.Sub(f.first), Synchronized: true}
	if err := f.ascend(r.at.SinceBoot, false); err != nil {
		return r, err
	}
	r.pump = f.name(f.fields[1])
	r.reading, err = f.reading(r.pump, f.fields[2], f.fields[3])
	r.reading.Quality = drivers.Good
	return r, err
}

func (f *readingsFile) instant(wall, boot, since []byte) (at drivers.Instant, err error) {
	if string(wall) != f.lastAt {
		utc, err := time.Parse(time.RFC3339Nano, string(wall))
		if err != nil {
			return at, fmt.Errorf("%q is no time; write 2026-03-01T12:00:00Z", wall)
		}
		f.lastAt, f.lastUTC = string(wall), utc
	}
	s, err := strconv.ParseFloat(string(since), 64)
	if err != nil || !(s >= 0) || s > 1e10 {
		return at, fmt.Errorf("since_boot_s %q is no number of seconds", since)
	}
	at = drivers.Instant{Wall: f.lastUTC, Boot: f.name(boot), SinceBoot: time.Duration(s*1e9 + 0.5), Synchronized: true}
	return at, f.ascend(at.SinceBoot, f.batch.At.Boot != at.Boot)
}

// ascend refuses times that go back within a boot.
func (f *readingsFile) ascend(since time.Duration, newBoot bool) error {
	if since < f.since && !newBoot {
		return fmt.Errorf("time goes back by %v; rows must ascend", f.since-since)
	}
	f.since = since
	return nil
}

func (f *readingsFile) reading(pump string, name, value []byte) (r drivers.Reading, err error) {
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

// name keeps one copy of each text that comes again and again.
func (f *readingsFile) name(b []byte) string {
	if s, ok := f.pumps[string(b)]; ok {
		return s
	}
	s := string(b)
	f.pumps[s] = s
	return s
}
