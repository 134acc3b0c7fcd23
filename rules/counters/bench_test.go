package counters_test

import (
	"testing"
	"time"

	"pumpside/drivers"
	"pumpside/rules/counters"
)

func BenchmarkStep20Readings(b *testing.B) {
	set, s := checkedEverything(b), busy(b)
	readings := busyReadings(1, true)
	batch := drivers.Batch{At: drivers.Instant{Boot: bootA, SinceBoot: 3 * time.Hour, Wall: noon, Synchronized: true}, Readings: readings}
	events := make([]counters.Event, 0, 8)
	n := 0
	b.ReportAllocs()
	for b.Loop() {
		n++
		batch.At.SinceBoot += time.Second
		readings[7].Value = float64(n * 5 % 65536)
		readings[8].Value = float64(n%4000) * 2.9e-4
		readings[9].Value = float64(n / 360 * 360)
		events = counters.Step(set, &s, &batch, events[:0])
	}
}

func BenchmarkAppendBinary(b *testing.B) {
	s := busy(b)
	var row []byte
	b.ReportAllocs()
	for b.Loop() {
		row, _ = s.AppendBinary(row[:0])
	}
	b.ReportMetric(float64(len(row)), "bytes")
}

func BenchmarkTotals(b *testing.B) {
	set, s := checkedEverything(b), busy(b)
	for b.Loop() {
		_ = s.Totals(set)
	}
}

func TestSteppingAllocatesNothing(t *testing.T) {
	set, s := checkedEverything(t), busy(t)
	batch := drivers.Batch{At: drivers.Instant{Boot: bootA, SinceBoot: 3 * time.Hour, Wall: noon}, Readings: busyReadings(1, true)}
	n := 0
	if allocs := testing.AllocsPerRun(1000, func() {
		n++
		batch.At.SinceBoot += time.Second
		batch.Readings[7].Value = float64(n * 5)
		counters.Step(set, &s, &batch, nil)
	}); allocs > 0 {
		t.Errorf("%v allocations a step", allocs)
	}
}
