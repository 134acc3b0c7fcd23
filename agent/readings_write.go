package main

import (
	"encoding/json"
	"strconv"
	"strings"
	"time"

	"pumpside/drivers"
	"pumpside/rules"
)

// A rowWriter writes what a readings file reads: see [readingsFile].
type rowWriter struct {
	pump  string
	names [int(drivers.FirstAuxiliary) + drivers.MaxAuxiliary]string // of signals
	text  []byte
}

func newRowWriter(set *rules.Settings) *rowWriter {
	w := &rowWriter{pump: set.Pump}
	for s := drivers.NoSignal + 1; s < drivers.SignalCount; s++ {
		w.names[s] = s.String()
	}
	for _, s := range set.Signals {
		if s.Name != "" {
			w.names[s.Signal] = s.Name
		}
	}
	return w
}

// header begins a file with how the pump stands before the next batch.
func (w *rowWriter) header(config string, s *rules.State) {
	line := func(parts ...string) {
		w.text = append(append(w.text, strings.Join(parts, " ")...), '\n')
	}
	line("# pumpside readings 1")
	line("# config", config)
	if state, err := s.Marshal(); err == nil { // plain values: it cannot fail
		line("# state", w.pump, string(state))
	}
	if ledger, err := json.Marshal(s.Ledger); err == nil && len(s.Ledger) > 0 {
		line("# ledger", w.pump, string(ledger))
	}
	line(readingsHeader)
}

// batch writes a batch at an instant: readings, then what else it holds, or a
// tick when it holds nothing.
func (w *rowWriter) batch(at drivers.Instant, b *drivers.Batch, readings bool) {
	n := len(w.text)
	if readings {
		for i := range b.Readings {
			w.reading(at, b, &b.Readings[i])
		}
	}
	for i := range b.Commands {
		w.quoted("command", at, &b.Commands[i])
	}
	if b.Group.Told {
		w.quoted("group", at, &b.Group)
	}
	if len(w.text) == n {
		w.head("tick", at)
		w.text[len(w.text)-1] = '\n' // nothing follows the pump
	}
}

func (w *rowWriter) reading(at drivers.Instant, b *drivers.Batch, r *drivers.Reading) {
	w.head("reading", at)
	w.text = append(append(w.text, w.names[r.Signal]...), ',')
	w.text = append(strconv.AppendFloat(w.text, r.Value, 'g', -1, 64), ',')
	w.text = append(append(w.text, r.Quality.String()...), ',')
	w.text = append(w.text, r.Reason.String()...)
	if b.HalfWidth > 0 {
		w.text = w.seconds(append(w.text, ','), b.HalfWidth)
	}
	w.text = append(w.text, '\n')
}

func (w *rowWriter) head(kind string, at drivers.Instant) {
	w.text = append(append(w.text, kind...), ',')
	if !at.Synchronized {
		w.text = append(w.text, '~')
	}
	w.text = append(at.Wall.UTC().AppendFormat(w.text, time.RFC3339Nano), ',')
	w.text = append(append(w.text, at.Boot...), ',')
	w.text = append(w.seconds(w.text, at.SinceBoot), ',')
	w.text = append(append(w.text, w.pump...), ',')
}

// seconds writes a time to the nanosecond, without a float between.
func (*rowWriter) seconds(text []byte, d time.Duration) []byte {
	text = strconv.AppendInt(text, int64(d/time.Second), 10)
	part := int64(d % time.Second)
	if part == 0 {
		return text
	}
	text = append(text, '.')
	for unit := int64(time.Second) / 10; part > 0; unit /= 10 {
		text = append(text, byte('0'+part/unit))
		part %= unit
	}
	return text
}

func (w *rowWriter) quoted(kind string, at drivers.Instant, value any) {
	text, err := json.Marshal(value)
	if err != nil {
		return // plain values: it cannot happen
	}
	w.head(kind, at)
	w.text = append(w.text, '"')
	w.text = append(w.text, strings.ReplaceAll(string(text), `"`, `""`)...)
	w.text = append(w.text, '"', '\n')
}
