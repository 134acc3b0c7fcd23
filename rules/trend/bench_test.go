package trend_test

import (
	"math/rand/v2"
	"runtime"
	"testing"
	"time"

	"pumpside/drivers"
	"pumpside/rules/trend"
)

// twenty are the signals of a well instrumented pump.
func twenty() (list []trend.Channel) {
	for s := drivers.DriveStatus; len(list) < 20; s++ {
		list = append(list, trend.Channel{Signal: s, Name: s.String()})
	}
	return list
}

// A skid reads twenty signals a second: three that ripple by ± 10 %, nine with
// noise of 0.2 % of what a 12-bit converter shows, eight that hardly move.
type skid struct {
	random   *rand.Rand
	readings []drivers.Reading
}

func newSkid() *skid {
	k := &skid{random: rand.New(rand.NewPCG(1, 2))}
	for _, c := range twenty() {
		k.readings = append(k.readings, good(c.Signal, 1))
	}
	return k
}

func (k *skid) read(i int) []drivers.Reading {
	for n := range k.readings {
		r, base := &k.readings[n], 100*float64(n+1)
		switch {
		case n%7 == 0:
			r.Value = base * (1 + 0.1*(2*k.random.Float64()-1))
		case n < 10:
			step := base / 2000
			r.Value = float64(int(base*(1+0.002*k.random.NormFloat64())/step)) * step
		default:
			r.Value = base + float64(i/300)
		}
	}
	return k.readings
}

func BenchmarkStep20Readings(b *testing.B) {
	s, k := trend.New(twenty(), trend.Settings{}), newSkid()
	batch := drivers.Batch{At: instant(0)}
	tick := func() {
		batch.At.SinceBoot += time.Second
		batch.At.Wall = batch.At.Wall.Add(time.Second)
		s.Step(&batch)
	}
	var seen [16][]drivers.Reading
	for i := range 7 * 3600 { // so that every buffer has its size
		batch.Readings = k.read(i)
		seen[i%16] = append(seen[i%16][:0], batch.Readings...)
		tick()
		s.TakeClosed()
	}
	n := 0
	b.ReportAllocs()
	for b.Loop() {
		n++
		batch.Readings = seen[n%16]
		tick()
		if s.HasClosed() {
			s.TakeClosed()
		}
	}
}

func TestSteppingAllocatesNothing(t *testing.T) {
	s, k := trend.New(twenty(), trend.Settings{}), newSkid()
	at := time.Duration(0)
	tick := func() {
		at += time.Second
		step(&s, instant(at), k.read(int(at/time.Second))...)
	}
	for range 5 * 3600 / 2 {
		tick()
	}
	s.TakeClosed()
	batch := drivers.Batch{At: instant(at), Readings: k.read(1)}
	if allocs := testing.AllocsPerRun(2000, func() {
		batch.At.SinceBoot += time.Second
		s.Step(&batch)
	}); allocs > 0 {
		t.Errorf("%v allocations a step", allocs)
	}
}

func TestWhatAPumpNeeds(t *testing.T) {
	const pumps = 20
	var before, after runtime.MemStats
	runtime.GC()
	runtime.ReadMemStats(&before)
	states := make([]trend.State, pumps)
	k := newSkid()
	var stored, hours int
	for i := range pumps {
		states[i] = trend.New(twenty(), trend.Settings{})
	}
	for n := range 6*3600 + 1 {
		readings := k.read(n)
		for i := range states[:1+min(n/(6*3600-3700), 1)*(pumps-1)] { // the others need only fill their hour
			step(&states[i], instant(time.Duration(n)*time.Second), readings...)
			for _, b := range states[i].TakeClosed() {
				text, _ := b.MarshalBinary()
				if i == 0 && b.Resolution == trend.Minute {
					stored = len(text)
				} else if i == 0 {
					hours = len(text)
				}
			}
		}
	}
	runtime.GC()
	runtime.ReadMemStats(&after)
	each := int(after.HeapAlloc-before.HeapAlloc) / pumps
	t.Logf("%d bytes of memory a pump of 20 signals; a block of six hours: minutes %d bytes, hours %d bytes", each, stored, hours)
	if each > 200_000 {
		t.Errorf("%d bytes a pump, want 200,000 or fewer: 500 of them in 100 MB", each)
	}
	if stored > 40_000 || hours > 2_000 {
		t.Errorf("blocks of %d and %d bytes, want 40,000 and 2,000 or fewer", stored, hours)
	}
	runtime.KeepAlive(states)
}
