package alarm_test

import (
	"math"
	"testing"
	"time"

	"pumpside/drivers"
	"pumpside/rules/alarm"
)

// steady is a pump's board of about 40 alarms on which nothing changes.
func steady() (*alarm.Memory, []alarm.Definition, []alarm.Condition) {
	x := 1e6
	defs := alarm.PumpAlarms(alarm.PumpSettings{})
	for s := drivers.SuctionPressure; s < drivers.SuctionPressure+10; s++ {
		defs = append(defs, alarm.SignalAlarms(alarm.SignalSettings{Signal: s, Span: 1e7, Low: &x, High: &x})...)
	}
	conds := make([]alarm.Condition, len(defs))
	for i := range conds {
		conds[i] = no
	}
	mem := &alarm.Memory{}
	mem.Fit(defs)
	conds[3], conds[7], conds[9] = yes, unknown, yes
	return mem, defs, conds
}

func TestSteadyBoardDoesNotAllocate(t *testing.T) {
	mem, defs, conds := steady()
	var out []alarm.Event
	since := time.Duration(0)
	step := func() {
		since += time.Second
		now := mem.Clock.Tick(at(since))
		now.SinceStart = since
		out = mem.Step(defs, &now, conds, out[:0])
	}
	for range 4000 {
		step()
	}
	if n := testing.AllocsPerRun(1000, step); n != 0 || len(out) != 0 {
		t.Errorf("%v allocations per step and %d events, want none", n, len(out))
	}
}

func BenchmarkSteadyBoard(b *testing.B) {
	mem, defs, conds := steady()
	var out []alarm.Event
	now := mem.Clock.Tick(at(0))
	now.SinceStart, now.Elapsed, now.Watched = time.Hour, time.Second, time.Second
	for range 4000 {
		out = mem.Step(defs, &now, conds, out[:0])
	}
	b.ReportAllocs()
	for b.Loop() {
		out = mem.Step(defs, &now, conds, out[:0])
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/float64(len(defs)), "ns/alarm")
}

func BenchmarkLimit(b *testing.B) {
	l := alarm.Limit{High: true, First: 80, Two: true, Second: 90, Deadband: 2}
	v := good(70)
	b.ReportAllocs()
	for b.Loop() {
		if l.Judge(v, alarm.Clear).Holds != alarm.No {
			b.Fatal("70 is above 80")
		}
	}
}

func BenchmarkMedianAt50Hz(b *testing.B) {
	var m alarm.Median
	now := time.Duration(0)
	b.ReportAllocs()
	for b.Loop() {
		now += 20 * time.Millisecond
		m.Add(now, math.Mod(float64(now), 977), 5*now.Seconds(), false)
		m.Value()
	}
}
