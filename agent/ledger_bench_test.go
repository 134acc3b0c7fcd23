package main

import (
	"context"
	"fmt"
	"io"
	"path/filepath"
	"testing"
	"time"

	"golang.org/x/sys/unix"

	"pumpside/agent/store"
	"pumpside/configs"
	"pumpside/drivers"
	"pumpside/rules"
	"pumpside/rules/pump"
	"pumpside/rules/service"
)

// benchPumps and benchYears are a large gateway at the end of its life.
const (
	benchPumps = 50
	benchYears = 20
)

// benchTasks is what a pump of the reference has to be done; each was done 25
// times a year in all.
func benchTasks(tb testing.TB) *rules.Settings {
	tb.Helper()
	c, err := configs.Load("reference.yaml", configs.Reference)
	if err != nil {
		tb.Fatal(err)
	}
	return c.Pumps[0].Rules
}

// benchLedger fills a state file with 25 000 records.
func benchLedger(tb testing.TB, tasks []service.Task) *store.Store {
	tb.Helper()
	s, _, err := store.Open(filepath.Join(tb.TempDir(), "state.db"), store.Options{PutTimeout: time.Minute, Now: func() drivers.Instant { return drivers.Instant{Wall: noon, Boot: "b", Synchronized: true} }})
	if err != nil {
		tb.Fatal(err)
	}
	tb.Cleanup(func() { _ = s.Close() })
	w, err := store.NewWriter(s)
	if err != nil {
		tb.Fatal(err)
	}
	ctx, stop := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- w.Run(ctx) }()
	var c store.ChangeSet
	for p := range benchPumps {
		for n := range benchYears * 25 {
			at := drivers.Instant{Wall: noon.AddDate(0, 0, n*14), Boot: "b", Synchronized: true}
			c.Ledger = append(c.Ledger, ledgerEntry(&drivers.ServiceRecord{
				Pump: fmt.Sprintf("gp-%d", p), Number: n + 1, Entered: at, User: "d.moss", At: at, RunTime: time.Duration(n) * 300 * time.Hour, Strokes: float64(n) * 5e6, Counted: service.FromCounters,
				Entry: drivers.ServiceEntry{Task: tasks[n%len(tasks)].Name, Action: service.Replaced, Cylinder: n % 4 % 3, Found: string(service.Worn), Order: "W-1234", Note: "as by the manual"},
			}))
		}
	}
	if err := w.Put(tb.Context(), c); err != nil {
		tb.Fatal(err)
	}
	stop()
	if err := <-done; err != nil {
		tb.Fatal(err)
	}
	return s
}

// BenchmarkFoldAtStart reads the ledger and folds it, as the agent does when it
// starts.
func BenchmarkFoldAtStart(b *testing.B) {
	set := benchTasks(b)
	s := benchLedger(b, set.Tasks)
	b.ReportAllocs()
	began := processTime(b)
	for b.Loop() {
		ledgers, err := ledgerByPump(b.Context(), s)
		if err != nil || len(ledgers) != benchPumps {
			b.Fatal(len(ledgers), err)
		}
		for _, ledger := range ledgers {
			rules.Start(set, withLedger(nil, ledger))
		}
	}
	b.ReportMetric(float64((processTime(b)-began).Milliseconds())/float64(b.N), "cpu-ms/op")
}

// processTime is the processor time used so far, which other work on the
// machine does not stretch as it does the time on the wall.
func processTime(tb testing.TB) time.Duration {
	tb.Helper()
	var u unix.Rusage
	if err := unix.Getrusage(unix.RUSAGE_SELF, &u); err != nil {
		tb.Fatal(err)
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}

// BenchmarkServiceDue looks at every task of every pump, with forecasts made
// anew, and prints the table.
func BenchmarkServiceDue(b *testing.B) {
	plain := *benchTasks(b)
	plain.Geometry = pump.Geometry{} // the diagnosis has its own benchmarks
	set := &plain
	saved := rules.OnlyCounters()
	totals := service.Totals{}
	for day := range 800 {
		saved.Duty.Step(drivers.Instant{Wall: noon.AddDate(0, 0, day), Synchronized: true}, &totals)
		totals.RunTime, totals.Strokes = totals.RunTime+20*time.Hour, totals.Strokes+360_000
	}
	now := drivers.Instant{Wall: noon.AddDate(0, 0, 800), Boot: "b", Synchronized: true}
	b.ReportAllocs()
	for b.Loop() {
		tasks := map[string][]rules.TaskView{}
		for p := range benchPumps {
			state, _ := rules.Start(set, saved)
			rules.Step(set, state, &drivers.Batch{At: now})
			tasks[fmt.Sprintf("gp-%d", p)] = state.Snapshot(set).Tasks
		}
		_ = printDue(io.Discard, dueFirst(tasks), time.UTC, unlimited)
	}
}
