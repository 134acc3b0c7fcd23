package main

import (
	"bufio"
	"bytes"
	"compress/gzip"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"strings"
	"time"

	"pumpside/drivers"
)

// readingsHeader is the row of names of a full readings file.
const readingsHeader = "kind,time,boot,since_boot_s,pump,signal,value,quality,reason,half_width_s"

// A readings file is text, one row a line, plain or compressed with gzip:
//
//	# pumpside readings 1
//	# config 3f2a9c01d4e5
//	# state gp-1 {"version":1,…}
//	# ledger gp-1 [{"number":1,…}]
//	kind,time,boot,since_boot_s,pump,signal,value,quality,reason,half_width_s
//	reading,2026-03-01T12:00:00Z,boot-a,3600.02,gp-1,discharge_pressure,7061000,good,,0.004
//	tick,2026-03-01T12:00:01Z,boot-a,3601,gp-1
//	command,2026-03-01T12:00:05Z,boot-a,3605,gp-1,"{""user"":""anna"",…}"
//	group,2026-03-01T12:00:06Z,boot-a,3606,gp-1,"{""told"":true,…}"
//
// Lines that begin with # say how it began: the hash of the configuration and,
// for each pump, the saved state and the service records to start from; all may
// be missing. Values are in the base unit of the signal's dimension (Pa, m³/s,
// °C, rpm, W, …). Rows of one pump with the same since_boot_s are one batch.
// Times of a pump ascend; a ~ before one says that the clock was not
// synchronised. Columns from reason on may be left out.
//
// A plain file has no kind:
//
//	time,pump,signal,value
//
// with times in RFC 3339 or in seconds, all of one boot, all good.
type readingsFile struct {
	config  string            // hash; "" when not said
	states  map[string]string // saved, by pump
	ledgers map[string]string // service records, by pump

	lines   *bufio.Scanner
	line    int
	plain   bool
	skip    bool        // go on after a bad line
	bad     func(error) // told of each
	batch   drivers.Batch
	pump    string    // of batch
	open    bool      // batch has something
	first   time.Time // of a plain file
	last    *lastRow  // of the pump of the row before
	rows    lastRows  // by pump
	lastAt  string    // text of the last row's time, and
	lastUTC time.Time // what it is
	names   map[string]string
	signals map[string]drivers.Signal
	find    func(pump, name string) (drivers.Signal, bool)
	fields  [10][]byte

	// What a reading of the same batch as the last one begins with.
	prefix []byte
	same   row
}

// lastRows are the newest rows of pumps, which must ascend.
type lastRows map[string]*lastRow

type lastRow struct {
	pump, boot string
	since      time.Duration
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
	f := &readingsFile{
		states: map[string]string{}, ledgers: map[string]string{}, lines: bufio.NewScanner(in),
		rows: lastRows{}, names: map[string]string{}, signals: map[string]drivers.Signal{}, find: auxiliary,
	}
	f.lines.Buffer(make([]byte, 1<<16), 64<<20) // a saved state is one line
	for s := drivers.NoSignal + 1; s < drivers.SignalCount; s++ {
		f.signals[s.String()] = s
	}
	return f, f.header()
}

// header reads to the row of names.
func (f *readingsFile) header() error {
	for f.lines.Scan() {
		f.line++
		line := f.lines.Text()
		note, isNote := strings.CutPrefix(line, "#")
		if !isNote {
			names := strings.TrimSpace(line)
			f.plain = names == "time,pump,signal,value"
			if f.plain || strings.HasPrefix(names, "kind,") {
				return nil
			}
			return fmt.Errorf("line %d: %q is no header; a readings file has %s or time,pump,signal,value", f.line, line, readingsHeader)
		}
		word, rest, _ := strings.Cut(strings.TrimSpace(note), " ")
		pump, text, _ := strings.Cut(rest, " ")
		switch word {
		case "config":
			f.config = rest
		case "state":
			f.states[pump] = text
		case "ledger":
			f.ledgers[pump] = text
		}
	}
	return errors.Join(f.lines.Err(), errors.New("there is no header"))
}

// next gives the next batch and its pump, io.EOF at the end. The batch is valid
// until the call after.
func (f *readingsFile) next(into *drivers.Batch) (pump string, err error) {
	*into = drivers.Batch{Readings: into.Readings[:0], Commands: into.Commands[:0]}
	for f.lines.Scan() {
		f.line++
		line := f.lines.Bytes()
		if len(line) > 0 && line[0] == '#' {
			continue // what was lost, said by a recording
		}
		r, err := f.row(line)
		if err != nil {
			if err = fmt.Errorf("line %d: %w", f.line, err); !f.skip {
				return "", err
			}
			f.bad(err)
			continue
		}
		if f.open && (r.pump != f.pump || r.at != f.batch.At) {
			pump = f.pump
			f.take(into)
		}
		f.put(&r)
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

func (f *readingsFile) put(r *row) {
	f.pump, f.batch.At, f.open = r.pump, r.at, true
	switch {
	case r.command != nil:
		f.batch.Commands = append(f.batch.Commands, *r.command)
	case r.group != nil:
		f.batch.Group = *r.group
	case r.reading.Signal != drivers.NoSignal:
		f.batch.Readings = append(f.batch.Readings, r.reading)
		f.batch.HalfWidth = max(f.batch.HalfWidth, r.half)
	}
}

// A row is one line.
type row struct {
	pump    string
	at      drivers.Instant
	reading drivers.Reading // its Signal is 0 for any other kind
	half    time.Duration
	command *drivers.Command // nil for others
	group   *drivers.Group   // likewise
}

var errFields = errors.New("too few fields")

func (f *readingsFile) row(line []byte) (r row, err error) {
	if len(f.prefix) > 0 && bytes.HasPrefix(line, f.prefix) {
		r = f.same
		return r, f.reading(&r, line[len(f.prefix):])
	}
	f.prefix = f.prefix[:0] // times must ascend from this row on
	if f.plain {
		return f.plainRow(line)
	}
	const heads = 5
	rest := line
	for n := range heads {
		var more bool
		if f.fields[n], rest, more = bytes.Cut(rest, comma); !more && n < heads-1 {
			return r, errFields
		}
	}
	if err = f.instant(&r, f.fields[1], f.fields[2], f.fields[3], f.fields[4]); err != nil {
		return r, err
	}
	switch string(f.fields[0]) {
	case "tick":
		return r, nil
	case "command":
		r.command = new(drivers.Command)
		return r, quotedJSON(rest, "command", r.command)
	case "group":
		r.group = new(drivers.Group)
		return r, quotedJSON(rest, "group", r.group)
	case "reading":
		f.prefix, f.same = append(f.prefix[:0], line[:len(line)-len(rest)]...), r
		return r, f.reading(&r, rest)
	}
	return r, fmt.Errorf("kind %q is not reading, command, group or tick", f.fields[0])
}

var comma = []byte{','}

// quotedJSON reads what stands in quotes, with quotes doubled.
func quotedJSON(text []byte, what string, into any) error {
	if len(text) == 0 {
		return errFields
	}
	if text[0] == '"' {
		text = bytes.ReplaceAll(bytes.TrimSuffix(text[1:], []byte{'"'}), []byte(`""`), []byte(`"`))
	}
	if err := json.Unmarshal(text, into); err != nil {
		return fmt.Errorf("%s: %w", what, err)
	}
	return nil
}
