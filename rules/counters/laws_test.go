package counters_test

import (
	"encoding/json"
	"math"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"pumpside/drivers"
	"pumpside/rules/counters"
)

// everything is a pump with every signal that counts.
var everything = counters.Settings{
	Installed: counters.SignalsOf(drivers.DriveStatus, drivers.MotorSpeed, drivers.BypassContactor, drivers.MotorPower, drivers.GlycolFlow,
		drivers.GlycolFlowSwitch, drivers.DischargePressure, drivers.ShaftIndex, drivers.GlycolVolume, drivers.DriveRunHours),
	RatedSpeed:    1500,
	Ratio:         5,
	WitnessPower:  500,
	WitnessFlow:   1e-5,
	WitnessRipple: 50e3,
	Index:         counters.Index{Bits: 16},
	HourMeter:     counters.HourMeter{Resolution: 6 * time.Minute, Bits: 16},
	Totaliser:     counters.Totaliser{RollsOverAt: 1, MaxFlow: 1e-3},
}

// A story is a made-up record: batches in order, as an agent would step them.
type story []drivers.Batch

// usual gives values each signal may have; the meters are free to jump.
var usual = []struct {
	signal drivers.Signal
	values []float64
}{
	{drivers.DriveStatus, []float64{0, 1, 2, 2, 2, 3}},
	{drivers.MotorSpeed, []float64{0, 20, 900, 1500, -1500}},
	{drivers.BypassContactor, []float64{0, 0, 0, 1}},
	{drivers.MotorPower, []float64{0, 900, 5500, -20}},
	{drivers.GlycolFlow, []float64{0, 2e-4, 3e-4, -1e-4}},
	{drivers.GlycolFlowSwitch, []float64{0, 1}},
	{drivers.DischargePressure, []float64{0, 6.8e6, 7e6, 7.2e6}},
	{drivers.ShaftIndex, []float64{65530, 5, 10, 15, 20, 400, 30000}},
	{drivers.GlycolVolume, []float64{0.9, 0.99, 0.01, 0.02, 0.1}},
	{drivers.DriveRunHours, []float64{360 * 65535, 0, 360, 720, 1080, 36000, 1e12}},
	{drivers.GasFlow, []float64{1}},
}

func drawStory(t *rapid.T) story {
	at := drivers.Instant{Boot: bootA, SinceBoot: time.Hour, Wall: noon, Synchronized: true}
	var all story
	for range rapid.IntRange(1, 60).Draw(t, "batches") {
		at = drawNext(t, at)
		all = append(all, drivers.Batch{At: at, Readings: drawReadings(t)})
	}
	return all
}

func drawNext(t *rapid.T, at drivers.Instant) drivers.Instant {
	wait := rapid.SampledFrom([]time.Duration{0, time.Millisecond, time.Second, time.Second, time.Second, 7 * time.Second, 10 * time.Second, 30 * time.Second, 40 * time.Minute}).Draw(t, "wait")
	at.SinceBoot += wait
	at.Wall = at.Wall.Add(wait)
	if rapid.IntRange(0, 19).Draw(t, "reboot") == 0 {
		off := time.Duration(rapid.Int64Range(0, int64(3*time.Hour)).Draw(t, "off"))
		since := rapid.SampledFrom([]time.Duration{time.Second, 20 * time.Second}).Draw(t, "booted")
		at = drivers.Instant{Boot: at.Boot[1:] + at.Boot[:1], SinceBoot: since, Wall: at.Wall.Add(off + since), Synchronized: at.Synchronized}
	}
	if wait > 0 {
		at.Synchronized = rapid.IntRange(0, 9).Draw(t, "synchronised") > 0
	}
	return at
}

func drawReadings(t *rapid.T) (list []drivers.Reading) {
	for range rapid.IntRange(0, 12).Draw(t, "readings") {
		u := rapid.SampledFrom(usual).Draw(t, "signal")
		r := good(u.signal, rapid.SampledFrom(u.values).Draw(t, "value"))
		if rapid.IntRange(0, 9).Draw(t, "bad") == 0 {
			r.Quality = drivers.Bad
		}
		list = append(list, r)
	}
	return list
}

// steady biases a story towards a pump that is seen well.
func steady(t *rapid.T, all story) {
	if !rapid.Bool().Draw(t, "steady") {
		return
	}
	for i := range all {
		all[i].Readings = append(all[i].Readings, driveRuns, rpm(1500), good(drivers.BypassContactor, 0))
	}
}

// run steps a State through batches and ends with an empty one, so that the
// last instant is counted.
func (all story) run(set *counters.Settings) (counters.State, []counters.Event) {
	var s counters.State
	var events []counters.Event
	for i := range all {
		events = counters.Step(set, &s, &all[i], events)
	}
	end := all[len(all)-1].At
	end.SinceBoot += time.Millisecond
	return s, counters.Step(set, &s, &drivers.Batch{At: end}, events)
}

func checkedEverything(t testing.TB) *counters.Settings {
	set, err := everything.Checked()
	if err != nil {
		t.Fatal(err)
	}
	return &set
}

func TestAnyBatchingOfARecordGivesTheSameTotals(t *testing.T) {
	set := checkedEverything(t)
	rapid.Check(t, func(t *rapid.T) {
		all := drawStory(t)
		steady(t, all)
		var split story
		for i, b := range all {
			for rest := b.Readings; len(rest) > 0; {
				n := rapid.IntRange(0, len(rest)).Draw(t, "part")
				split = append(split, drivers.Batch{At: b.At, Readings: rest[:n]})
				rest = rest[n:]
			}
			// A beat of the same instant, or later but before the next batch.
			beat := b.At
			beat.SinceBoot += time.Duration(rapid.Int64Range(0, int64(time.Hour)).Draw(t, "beat"))
			if i+1 < len(all) && (!beat.SameBoot(all[i+1].At) || !all[i+1].At.Before(beat)) {
				split = append(split, drivers.Batch{At: beat})
			}
		}
		split = append(split, drivers.Batch{At: all[len(all)-1].At})
		s1, events1 := all.run(set)
		s2, events2 := split.run(set)
		if s1 != s2 {
			t.Errorf("-whole +split\n%s", cmp.Diff(s1, s2))
		}
		if diff := cmp.Diff(events1, events2); diff != "" {
			t.Errorf("events -whole +split\n%s", diff)
		}
	})
}

func TestNoClockStepChangesATotal(t *testing.T) {
	set := checkedEverything(t)
	rapid.Check(t, func(t *rapid.T) {
		all := drawStory(t)
		steady(t, all)
		stepped := append(story(nil), all...)
		var boots []string
		for i := range all {
			if at := all[i].At; len(boots) == 0 || boots[len(boots)-1] != at.Boot {
				boots = append(boots, at.Boot)
			}
			// A wall clock that is not synchronised may say anything; one that is
			// may too, as long as the machine does not reboot.
			if len(boots) > 1 {
				all[i].At.Synchronized = false
			}
			stepped[i].At = all[i].At
			stepped[i].At.Wall = time.Unix(rapid.Int64Range(0, 4e9).Draw(t, "wall"), 0).UTC()
		}
		s1, _ := all.run(set)
		s2, _ := stepped.run(set)
		if diff := cmp.Diff(s1.Totals(set), s2.Totals(set)); diff != "" {
			t.Errorf("-steady clock +stepping clock\n%s", diff)
		}
	})
}

func TestSavingAndRestoringAtAnyPointChangesNothing(t *testing.T) {
	set := checkedEverything(t)
	rapid.Check(t, func(t *rapid.T) {
		all := drawStory(t)
		steady(t, all)
		var s1, s2 counters.State
		for i := range all {
			events1 := counters.Step(set, &s1, &all[i], nil)
			events2 := counters.Step(set, &s2, &all[i], nil)
			if diff := cmp.Diff(events1, events2); diff != "" {
				t.Fatalf("batch %d: events -kept +restored\n%s", i, diff)
			}
			s2 = restored(t, s2, rapid.SampledFrom([]string{"", "json", "packed"}).Draw(t, "save"))
			if s1 != s2 {
				t.Fatalf("batch %d: -kept +restored\n%s", i, cmp.Diff(s1, s2))
			}
		}
	})
}

func restored(t *rapid.T, s counters.State, form string) (back counters.State) {
	var b []byte
	var err, err2 error
	switch form {
	case "json":
		b, err = json.Marshal(s)
		err2 = json.Unmarshal(b, &back)
	case "packed":
		b, err = s.AppendBinary(nil)
		err2 = back.UnmarshalBinary(b)
	default:
		return s
	}
	if err != nil || err2 != nil {
		t.Fatalf("%s: %v, %v\n%s", form, err, err2, b)
	}
	return back
}

func TestTotalsNeverFall(t *testing.T) {
	set := checkedEverything(t)
	rapid.Check(t, func(t *rapid.T) {
		all := drawStory(t)
		steady(t, all)
		var s counters.State
		before := rising(s.Counted)
		for i := range all {
			counters.Step(set, &s, &all[i], nil)
			got := rising(s.Counted)
			for k := range got {
				if !(got[k] >= before[k]) || math.IsInf(got[k], 0) {
					t.Fatalf("batch %d: %v went to %v", i, before, got)
				}
			}
			before = got
		}
	})
}

// rising lists the totals that never fall.
func rising(c counters.Counted) [9]float64 {
	return [9]float64{
		c.Revolutions, float64(c.Pumped), float64(c.Energy), float64(c.Starts),
		float64(c.Run), float64(c.Stopped), float64(c.Unobserved + c.FromMeter), float64(c.FromMeter), c.Reckoned,
	}
}

func TestRunTimeNeverExceedsElapsedTime(t *testing.T) {
	set := checkedEverything(t)
	rapid.Check(t, func(t *rapid.T) {
		all := drawStory(t)
		steady(t, all)
		for i := range all { // so that the length of every gap is known
			all[i].At.Synchronized = true
		}
		var s counters.State
		var first, last int64 // wall clock of the instants that told of the motor
		for i := range all {
			counters.Step(set, &s, &all[i], nil)
			if s.Running.Known {
				last = s.Running.At.Wall
			}
			if first == 0 {
				first = last
			}
			c, elapsed := &s.Counted, time.Duration(last-first)
			switch accounted := c.Run + c.Stopped + c.Unobserved + s.Held.Run + s.Held.Stopped; {
			case c.Run > elapsed:
				t.Fatalf("batch %d: ran %v of %v", i, c.Run, elapsed)
			case accounted != elapsed:
				t.Fatalf("batch %d: accounted for %v of %v", i, accounted, elapsed)
			case c.AtMost+s.Gap.Most > c.Unobserved:
				t.Fatalf("batch %d: at most %v of %v unobserved", i, c.AtMost+s.Gap.Most, c.Unobserved)
			case c.FromMeter > c.Run:
				t.Fatalf("batch %d: %v of %v run time are from the meter", i, c.FromMeter, c.Run)
			}
		}
	})
}

// A drive's meter that tells the truth in whole steps must find, over any
// pattern of running, standing and not looking, the run time there was: what
// is credited is never more, and what is missing is within the bounds. Max gap
// is allowed for each start and stop: two readings do not see it better.
func TestMeterNeverProvesMoreThanWasRun(t *testing.T) {
	set := metered(counters.RunHours)
	set.HourMeter.Resolution = 6 * time.Minute
	rapid.Check(t, func(t *rapid.T) {
		r := &rig{at: drivers.Instant{Boot: bootA, SinceBoot: time.Hour, Wall: noon, Synchronized: true}}
		r.set, _ = set.Checked()
		meter := time.Duration(rapid.Int64Range(0, int64(h)).Draw(t, "meter"))
		ran, changes := time.Duration(0), time.Duration(1)
		poll := func(runs bool) {
			reading := good(drivers.DriveRunHours, (meter / (6 * m) * (6 * m)).Seconds())
			if runs {
				r.batch(driveRuns, rpm(1500), reading)
				return
			}
			r.batch(driveStops, rpm(0), reading)
		}
		runs := rapid.Bool().Draw(t, "runs")
		poll(runs)
		for range rapid.IntRange(1, 25).Draw(t, "phases") {
			length := time.Duration(rapid.Int64Range(1, 1500).Draw(t, "length")) * s
			if rapid.Bool().Draw(t, "change") {
				runs = !runs
				changes++
			}
			if runs {
				ran += length
			}
			if looks := rapid.IntRange(0, 3).Draw(t, "looks") > 0; !looks {
				r.wait(length)
				meter += pick(runs, length)
				poll(runs)
				continue
			}
			for range length / s {
				r.wait(s)
				meter += pick(runs, s)
				poll(runs)
			}
		}
		got := r.totals()
		if slop := changes * r.set.MaxGap; got.Run > ran+slop || got.Run+got.AtMost < ran-slop {
			t.Errorf("ran %v; counted %v, of which %v from the meter, and at most %v of %v unobserved", ran, got.Run, got.FromMeter, got.AtMost, got.Unobserved)
		}
	})
}

func pick(runs bool, d time.Duration) time.Duration {
	if runs {
		return d
	}
	return 0
}
