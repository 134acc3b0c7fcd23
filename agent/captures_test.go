package main

import (
	"context"
	"errors"
	"io"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/rs/zerolog"

	"pumpside/agent/engine"
	"pumpside/drivers"
	"pumpside/rules"
)

// What was captured is exported as a readings file, to the nanosecond.
func TestACaptureIsAReadingsFile(t *testing.T) {
	at := drivers.Instant{Wall: time.Date(2026, 3, 1, 12, 0, 0, 0, time.UTC), Boot: "boot-a", SinceBoot: time.Hour, Synchronized: true}
	c := &rules.Capture{Why: rules.CapturedBegan, At: at, Readings: []rules.CapturedReading{
		{SinceBoot: time.Hour - 123456789, HalfWidth: 4321, Signal: drivers.DischargePressure, Value: 7061050.061050061},
		{SinceBoot: time.Hour - 123456789, HalfWidth: 4321, Signal: drivers.ShaftIndex, Value: 17},
		{SinceBoot: time.Hour + time.Second, Signal: drivers.DischargePressure, Value: 6.9e6},
	}}
	b := captureBlock("gp-1", c)
	if b.Kind != captureKind || !b.Start.Equal(at.Wall) || !b.Stop.After(at.Wall.Add(time.Second)) {
		t.Errorf("block %s from %v to %v", b.Kind, b.Start, b.Stop)
	}
	f, err := openReadings(strings.NewReader(string(b.Body)), nil)
	if err != nil {
		t.Fatal(err)
	}
	var got []rules.CapturedReading
	for {
		var batch drivers.Batch
		pump, err := f.next(&batch)
		if err == io.EOF {
			break
		}
		if err != nil || pump != "gp-1" {
			t.Fatal(pump, err)
		}
		if want := at.Wall.Add(batch.At.SinceBoot - time.Hour); !batch.At.Wall.Equal(want) {
			t.Errorf("wall %v, want %v", batch.At.Wall, want)
		}
		for _, r := range batch.Readings {
			got = append(got, rules.CapturedReading{SinceBoot: batch.At.SinceBoot, HalfWidth: batch.HalfWidth, Signal: r.Signal, Value: r.Value})
		}
	}
	for i := range c.Readings {
		if i >= len(got) || got[i] != c.Readings[i] {
			t.Errorf("read %+v, want %+v", got, c.Readings)
			break
		}
	}
}

// What the rules hand over lies in the state file and is listed from there.
func TestCapturesAreListedFromTheStateFile(t *testing.T) {
	config := playedConfig(t)
	config.Store.Path = filepath.Join(folder(t), "bench.db")
	g, err := open(config, zerolog.Nop(), nil)
	if err != nil {
		t.Fatal(err)
	}
	defer g.close()
	ctx, stop := context.WithCancel(t.Context())
	done := make(chan error, 1)
	go func() { done <- g.writer.Run(ctx) }()
	at := drivers.Instant{Wall: time.Date(2026, 3, 1, 12, 0, 0, 0, time.UTC), Boot: "boot-a", SinceBoot: time.Hour, Synchronized: true}
	one := &rules.Capture{Why: rules.CapturedVisit, At: at, Readings: []rules.CapturedReading{{SinceBoot: time.Hour, Signal: drivers.DischargePressure, Value: 7e6}}}
	keeper{g.writer, zerolog.Nop()}.Keep(ctx, engine.Record{Subject: "gp-1", Captures: []*rules.Capture{one}})
	list, err := g.captures(ctx)
	stop()
	if err := errors.Join(err, <-done); err != nil {
		t.Fatal(err)
	}
	if len(list) != 1 || list[0].Pump != "gp-1" || list[0].Why != "visit_advised" || list[0].Readings != 1 || !list[0].At.Equal(at.Wall) {
		t.Errorf("listed %+v", list)
	}
}
