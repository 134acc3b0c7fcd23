package main

import (
	"bytes"
	"io"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/rs/zerolog"

	"pumpside/drivers"
	"pumpside/rules"
)

// A lived pump is stepped and recorded at once, and its events are written as a
// replay writes them.
type lived struct {
	t      *testing.T
	player player
	set    *rules.Settings
	state  *rules.State
	rec    *recorder
	events bytes.Buffer
	at     drivers.Instant
}

func (l *lived) step(b drivers.Batch) {
	l.t.Helper()
	l.rec.Record(l.state, &b)
	if err := l.player.tell("gp-1", rules.Step(l.set, l.state, &b)); err != nil {
		l.t.Fatal(err)
	}
	for len(l.rec.out) > cap(l.rec.out)/2 { // the disk keeps up with a pump that lives slower
		time.Sleep(time.Millisecond)
	}
}

// live is 25 minutes of a pump: pressure at 40 Hz whose first order grows from
// the 18th minute on, no flow for a while, orders by people, news of the group,
// batches that come too late, a clock that is set.
func (l *lived) live() {
	rng := rand.New(rand.NewPCG(1, 2))
	good := func(s drivers.Signal, v float64) drivers.Reading {
		return drivers.Reading{Signal: s, Value: v, Quality: drivers.Good}
	}
	begin := l.at.SinceBoot
	for i := range 25 * 60 * 40 {
		step := time.Duration(20e6 + 10e6*rng.Float64())
		l.at.SinceBoot += step
		l.at.Wall = l.at.Wall.Add(step)
		turn := 2 * math.Pi * 5 * l.at.SinceBoot.Seconds()
		first := 8e3
		if l.at.SinceBoot-begin > 18*time.Minute {
			first = 60e3
		}
		b := drivers.Batch{At: l.at, HalfWidth: time.Duration(3e6 * rng.Float64())}
		b.Readings = append(b.Readings, good(drivers.DischargePressure, 7e6+6e5*math.Cos(3*turn)+2e5*math.Cos(6*turn+1)+first*math.Cos(turn+2)+1e3*rng.NormFloat64()))
		if i%40 == 0 {
			flow := 20.0 / 60e3
			if i > 6000 && i < 14000 {
				flow = 0
			}
			b.Readings = append(b.Readings, good(drivers.DriveStatus, float64(drivers.DriveRunning)), good(drivers.MotorSpeed, 1450), good(drivers.MotorPower, 2900), good(drivers.GlycolFlow, flow),
				drivers.Reading{Signal: drivers.GlycolTemperature, Quality: drivers.Bad, Reason: drivers.Timeout})
		}
		switch {
		case i%4001 == 7:
			late := b
			late.At.SinceBoot -= time.Second
			defer l.step(late)
		case i == 12000:
			b.Commands = []drivers.Command{{ID: "c1", User: "anna", Verb: drivers.Acknowledge, Alarm: "no_flow", Comment: `said "ok", and went`}}
		case i%3000 == 5:
			b.Group = drivers.Group{Told: true, Others: 1, Running: i / 3000 % 2, Required: 1, Standby: drivers.StandbyRunning}
		case i == 20000:
			l.at.Synchronized = true
			l.at.Wall = l.at.Wall.Add(1234567 * time.Microsecond)
		}
		l.step(b)
		if i%500 == 0 {
			l.step(drivers.Batch{At: l.at})
		}
	}
}

// What a pump was given, recorded over several files, replays to the same
// events: from its beginning, and with other files of it only in the order they
// were written.
func TestARecordReplaysTheSame(t *testing.T) {
	config, folder := playedConfig(t), t.TempDir()
	l := &lived{t: t, set: config.Pumps[0].Rules, at: drivers.Instant{Wall: time.Date(2026, 3, 1, 12, 0, 0, 0, time.UTC), Boot: "boot-a", SinceBoot: 1234567890123456}}
	l.player = player{config: config, words: wordsOf(config), out: &l.events, notes: io.Discard, json: true}

	// The pump was known before, and serviced: the record begins with that.
	before, _ := rules.Start(l.set, nil)
	first := drivers.Batch{At: l.at, Commands: []drivers.Command{{ID: "s1", User: "anna", Verb: drivers.RecordService, Service: &drivers.ServiceEntry{Note: "looked at"}}}}
	rules.Step(l.set, before, &first)
	text, err := before.Marshal()
	if err != nil {
		t.Fatal(err)
	}
	saved, err := rules.Unmarshal(text)
	if err != nil {
		t.Fatal(err)
	}
	saved.Ledger = before.Ledger
	l.state, _ = rules.Start(l.set, saved)

	l.rec = newRecorder(l.set, config.Hash, folder, 300e3, 20, zerolog.Nop())
	done := make(chan error, 1)
	go func() { done <- l.rec.Run(t.Context()) }()
	l.live()
	l.rec.Close()
	if err := <-done; err != nil {
		t.Fatal(err)
	}

	files, err := readingsFiles([]string{folder})
	if err != nil || len(files) < 3 {
		t.Fatalf("%d files, %v; want several", len(files), err)
	}
	var again, notes bytes.Buffer
	p := player{config: config, words: wordsOf(config), out: &again, notes: &notes, json: true}
	if err := p.playAll(files, func(path string) (io.ReadCloser, error) { return os.Open(path) }); err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(again.Bytes(), l.events.Bytes()) {
		t.Errorf("lived:\n%s\nreplayed:\n%s", &l.events, &again)
	}
	for _, want := range []string{"no_flow", "acknowledged", "baseline_learned", "finding_began"} {
		if !bytes.Contains(again.Bytes(), []byte(want)) {
			t.Errorf("nothing of %s in\n%s", want, &again)
		}
	}
	t.Logf("%d files, %d bytes of events; %s", len(files), again.Len(), &notes)
}

// What was lost between two files is not made up: a replay goes on from the
// state that the second begins with, and says so. Where the second begins at
// the end of the first, it goes on as it stands.
func TestAReplayOverAHoleGoesOnFromTheStateThen(t *testing.T) {
	for _, tt := range []struct {
		name string
		hole time.Duration
	}{{"a hole of ten minutes", 10 * time.Minute}, {"no hole", 0}} {
		t.Run(tt.name, func(t *testing.T) {
			config, folder := playedConfig(t), t.TempDir()
			set := config.Pumps[0].Rules
			at := drivers.Instant{Wall: time.Date(2026, 3, 1, 12, 0, 0, 0, time.UTC), Boot: "boot-a", SinceBoot: time.Hour, Synchronized: true}
			state, _ := rules.Start(set, nil)
			run := func(d time.Duration, rec *recorder) {
				for end := at.SinceBoot + d; at.SinceBoot < end; {
					at.SinceBoot, at.Wall = at.SinceBoot+time.Second, at.Wall.Add(time.Second)
					b := drivers.Batch{At: at, Readings: []drivers.Reading{
						{Signal: drivers.DriveStatus, Value: float64(drivers.DriveRunning), Quality: drivers.Good},
						{Signal: drivers.MotorSpeed, Value: 1450, Quality: drivers.Good},
						{Signal: drivers.MotorPower, Value: 2900, Quality: drivers.Good},
						{Signal: drivers.GlycolFlow, Value: 20.0 / 60e3, Quality: drivers.Good},
					}}
					if rec != nil {
						rec.Record(state, &b)
					}
					rules.Step(set, state, &b)
				}
			}
			recorded := func(d time.Duration) {
				rec := newRecorder(set, config.Hash, folder, 300e3, 20, zerolog.Nop())
				rec.out = make(chan piece, 1000) // nothing is lost
				run(d, rec)
				rec.Close()
				if err := rec.Run(t.Context()); err != nil {
					t.Fatal(err)
				}
			}
			recorded(10 * time.Minute)
			run(tt.hole, nil)
			recorded(10 * time.Minute)

			files, err := readingsFiles([]string{folder})
			if err != nil || len(files) != 2 {
				t.Fatalf("%d files, %v", len(files), err)
			}
			var notes bytes.Buffer
			p := player{config: config, words: wordsOf(config), out: io.Discard, notes: &notes, json: true}
			if err := p.playAll(files, func(path string) (io.ReadCloser, error) { return os.Open(path) }); err != nil {
				t.Fatal(err)
			}
			again := p.pumps["gp-1"].state
			if got, want := again.Snapshot(set).Totals, state.Snapshot(set).Totals; got != want || again.Seq != state.Seq || want.RunSeconds < (20*time.Minute+tt.hole).Seconds()-10 {
				t.Errorf("replayed %+v and %d entries, lived %+v and %d", got, again.Seq, want, state.Seq)
			}
			if told := strings.Contains(notes.String(), "note: pump gp-1 has a hole in its record, from 2026-03-01 12:10 UTC to 2026-03-01 12:20 UTC; it goes on with its state then"); told != (tt.hole > 0) {
				t.Errorf("notes %s", &notes)
			}
		})
	}
}

// Files are bounded, and numbers go on over restarts.
func TestOldestRecordsGo(t *testing.T) {
	config, folder := playedConfig(t), t.TempDir()
	set := config.Pumps[0].Rules
	if err := os.WriteFile(filepath.Join(folder, "gp-10-000001.csv.gz"), nil, 0o600); err != nil { // another pump's
		t.Fatal(err)
	}
	for range 5 {
		r := newRecorder(set, config.Hash, folder, 1e6, 3, zerolog.Nop())
		state, _ := rules.Start(set, nil)
		r.Record(state, &drivers.Batch{At: drivers.Instant{Boot: "a", SinceBoot: time.Hour}})
		r.Close()
		if err := r.Run(t.Context()); err != nil {
			t.Fatal(err)
		}
	}
	list, err := recordsOf(folder, "gp-1")
	if err != nil {
		t.Fatal(err)
	}
	var got []int
	for _, one := range list {
		got = append(got, one.number)
	}
	if !slices.Equal(got, []int{3, 4, 5}) {
		t.Errorf("files %v, want 3 4 5", got)
	}
	if _, err := os.Stat(filepath.Join(folder, "gp-10-000001.csv.gz")); err != nil {
		t.Errorf("another pump's file went: %v", err)
	}
}

// What the disk was still busy with when a file was begun says nothing of that
// file's size.
func TestALateWriteDoesNotEndTheNextFile(t *testing.T) {
	config, folder := playedConfig(t), t.TempDir()
	set := config.Pumps[0].Rules
	r := newRecorder(set, config.Hash, folder, 1, 10, zerolog.Nop()) // any writing fills a file
	state, _ := rules.Start(set, nil)
	f := &recordFile{}
	record := func(at time.Duration) {
		r.Record(state, &drivers.Batch{At: drivers.Instant{Boot: "a", SinceBoot: time.Hour + at}})
	}
	write := func() {
		if err := r.write(f, <-r.out); err != nil {
			t.Fatal(err)
		}
	}
	record(0)
	write()                  // the first file's head, which fills it
	record(11 * time.Second) // the rest of the first file, and the head of a second
	write()                  // that rest
	record(22 * time.Second)
	record(33 * time.Second)
	for len(r.out) > 0 {
		write()
	}
	if err := f.close(); err != nil {
		t.Fatal(err)
	}
	if list, err := recordsOf(folder, "gp-1"); err != nil || len(list) != 2 {
		t.Errorf("%d files, %v; want 2", len(list), err)
	}
}

// A disk that cannot be written ends the record; the pump goes on.
func TestAFullDiskEndsTheRecordOnly(t *testing.T) {
	config := playedConfig(t)
	set := config.Pumps[0].Rules
	file := filepath.Join(t.TempDir(), "file")
	if err := os.WriteFile(file, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	r := newRecorder(set, config.Hash, filepath.Join(file, "folder"), 1e6, 3, zerolog.Nop())
	done := make(chan error, 1)
	go func() { done <- r.Run(t.Context()) }()
	state, _ := rules.Start(set, nil)
	for i := range 1000 {
		b := drivers.Batch{At: drivers.Instant{Boot: "a", SinceBoot: time.Duration(i) * time.Minute}}
		r.Record(state, &b)
		rules.Step(set, state, &b)
	}
	r.Close()
	if err := <-done; err != nil {
		t.Errorf("Run = %v, want nil: the agent goes on", err)
	}
}
