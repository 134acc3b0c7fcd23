package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"
	"time"

	"github.com/rs/zerolog"

	"pumpside/agent/engine"
	"pumpside/agent/store"
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

// A list of captures holds none of their texts; one is fetched by its number,
// from the running agent or the state file, and is never written over that.
func TestCapturesAreListedWithoutTheirTextsAndFetchedByNumber(t *testing.T) {
	work := folder(t)
	var text strings.Builder
	err := writeSkids(&text, skidSite{
		ID: "kept", Title: "Kept", Metrics: "off", Page: "off", Store: "pumpside.db", Save: "60 s", Log: "error",
		Skids: []skidPump{{ID: "gp-1", Tag: "GP-1", Bus: "tcp: 127.0.0.1:1", Drive: 1, Module: 2}},
	})
	if err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(work, "pumpside.yaml")
	if err := os.WriteFile(path, []byte(text.String()), 0o644); err != nil {
		t.Fatal(err)
	}
	config, err := loadConfig(path)
	if err != nil {
		t.Fatal(err)
	}
	g, err := open(config, zerolog.Nop(), nil)
	if err != nil {
		t.Fatal(err)
	}
	socket, err := net.Listen("unix", socketPath(config.Store.Path))
	if err != nil {
		t.Fatal(err)
	}
	server := &http.Server{Handler: g.deskHandler(), ConnContext: withPeer}
	go func() { _ = server.Serve(socket) }()
	defer server.Close()

	var blocks []store.Block
	for i := range 3 {
		c := &rules.Capture{Why: rules.CapturedBegan, At: drivers.Instant{Wall: time.Date(2026, 3, 1+i, 12, 0, 0, 0, time.UTC), Boot: "boot-a", SinceBoot: time.Hour, Synchronized: true}}
		for range i + 1 {
			c.Readings = append(c.Readings, rules.CapturedReading{SinceBoot: time.Hour, Signal: drivers.DischargePressure, Value: 7e6})
		}
		blocks = append(blocks, captureBlock("gp-1", c))
	}
	err = g.without(func(own desk) error {
		if err := g.writer.Put(t.Context(), store.ChangeSet{Subject: "gp-1", History: blocks}); err != nil {
			return err
		}
		asked, err := dial(t.Context(), config.Store.Path)
		if err != nil {
			return err
		}
		var lists [2][]captured
		for i, d := range []desk{own, asked} {
			if lists[i], err = d.captures(t.Context()); err != nil {
				return err
			}
			checkCaptures(t, d, lists[i], blocks)
		}
		if !reflect.DeepEqual(lists[0], lists[1]) {
			t.Errorf("the agent lists %+v, its state file %+v", lists[1], lists[0])
		}
		checkExport(t, path, config.Store.Path, lists[0][2].Number, string(blocks[2].Body))
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	if err := g.close(); err != nil {
		t.Fatal(err)
	}
}

func checkCaptures(t *testing.T, d desk, list []captured, blocks []store.Block) {
	t.Helper()
	for i, b := range blocks {
		if i >= len(list) {
			t.Fatalf("%d captures, want %d", len(list), len(blocks))
		}
		if one := list[i]; one.Pump != "gp-1" || one.Why != rules.CapturedBegan || one.Readings != i+1 || !one.At.Equal(b.Start) {
			t.Errorf("capture %d is %+v", i, one)
		}
		err := d.capture(t.Context(), list[i].Number, func(text io.Reader) error {
			if got, err := io.ReadAll(text); err != nil || string(got) != string(b.Body) {
				t.Errorf("capture %d, %v:\n%s", i, err, got)
			}
			return nil
		})
		if err != nil {
			t.Error(err)
		}
	}
	err := d.capture(t.Context(), 987654, func(io.Reader) error { return nil })
	if err == nil || err.Error() != "there is no capture 987654; see pumpside captures list" {
		t.Errorf("error = %v", err)
	}
}

// checkExport exports a capture over a file, and tries to over the state file
// and when there is none of that number.
func checkExport(t *testing.T, config, state string, number int64, want string) {
	t.Helper()
	export := func(number int64, file string) error {
		c := capturesExport()
		c.SilenceErrors, c.SilenceUsage = true, true
		c.SetArgs([]string{"--config", config, fmt.Sprint(number), file})
		return c.ExecuteContext(t.Context())
	}
	file := filepath.Join(t.TempDir(), "out.csv")
	for range 2 { // the second time there is no such number, and the file stays
		err := export(number, file)
		if got, _ := os.ReadFile(file); string(got) != want {
			t.Errorf("%v, exported:\n%s", err, got)
		}
		number = 987654
	}
	before, err := os.Stat(state)
	if err != nil {
		t.Fatal(err)
	}
	err = export(number, state)
	if after, statErr := os.Stat(state); err == nil || !strings.Contains(err.Error(), "the state file in use") || statErr != nil || after.Size() != before.Size() {
		t.Errorf("exported over the state file: %v", err)
	}
}
