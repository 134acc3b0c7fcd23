package counters_test

import (
	"math"
	"testing"
	"time"

	"pumpside/drivers"
	"pumpside/rules/counters"
)

// A metered pump turns at 300 rpm: five strokes of each plunger a second.
func TestHoursOfTheMeterBringTheirStrokes(t *testing.T) {
	withIndex := func(bits uint) counters.Settings {
		set := with(metered(counters.RunHours), drivers.ShaftIndex)
		set.Index = counters.Index{PulsesPerRevolution: 1, Bits: bits}
		return set
	}
	// turn looks at a running pump for d; what the index shows then is n. An
	// index below 0 is not read.
	turn := func(d *day, n *float64, length time.Duration) {
		for range length / s {
			d.wait(s)
			d.meter += s
			index := bad(drivers.ShaftIndex)
			if *n >= 0 {
				*n = math.Mod(*n+5, 65536)
				index = pulses(*n)
			}
			d.batch(driveRuns, rpm(1500), meterHours(float64(d.meter/h)), index)
		}
	}
	unread := -1.0
	tests := []struct {
		name     string
		set      counters.Settings
		do       func(d *day)
		reckoned bool
	}{
		{"an agent down for thirty days, a drive that measures speed, no index", metered(counters.RunHours), func(d *day) {
			d.seen(true, 10*m+s)
			d.unseen(true, 720*h)
			d.seen(true, 3359*s)
		}, true},
		{"the pump stood when the agent went down", metered(counters.RunHours), func(d *day) {
			d.seen(true, 10*m+s)
			d.seen(false, 10*m)
			d.unseen(true, 100*h)
			d.seen(true, 3359*s)
		}, true},
		{"an index register that may have rolled over more than once", withIndex(16), func(d *day) {
			n := 0.0
			turn(d, &n, 10*m+s)
			d.unseen(true, 720*h)
			n = 777
			turn(d, &n, 3359*s)
		}, true},
		{"an index that tells of the whole gap has the last word", withIndex(32), func(d *day) {
			n := 0.0
			turn(d, &n, 10*m+s)
			d.unseen(true, 2*h)
			n += 7200 * 5
			turn(d, &n, 3359*s)
		}, false},
		{"and has it too where the meter is read before it", withIndex(32), func(d *day) {
			n := 0.0
			turn(d, &n, 10*m+s)
			d.unseen(true, 2*h)
			d.read(true)
			n += 7200 * 5
			turn(d, &n, 3359*s)
		}, false},
		{"an index that cannot be read after the gap", withIndex(16), func(d *day) {
			n := 0.0
			turn(d, &n, 10*m+s)
			d.unseen(true, 2*h)
			turn(d, &unread, h)
		}, true},
		{"a meter whose kind is learnt only later", metered(counters.KindUnknown), func(d *day) {
			d.seen(true, 10*m+s)
			d.unseen(true, 2*h)
			d.seen(true, 3359*s)
			d.seen(false, 2*h)
		}, true},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			d := &day{newRig(t, tt.set), 99*h + 54*m}
			tt.do(d)
			got := d.totals()
			if want := got.Run.Seconds() * 5; math.Abs(got.Revolutions-want) > 25 {
				t.Errorf("%v run, of which %v by the meter, and %.0f strokes; at 300 rpm they are %.0f", got.Run, got.FromMeter, got.Revolutions, want)
			}
			if reckoned := got.Reckoned > 0; reckoned != tt.reckoned {
				t.Errorf("%.0f strokes are said to be reckoned", got.Reckoned)
			}
		})
	}
}

// What was not counted is said to be reckoned.
func TestReckonedStrokesAreToldApart(t *testing.T) {
	d := &day{newRig(t, metered(counters.RunHours)), 99*h + 54*m}
	d.seen(true, 10*m+s)
	d.unseen(true, 720*h)
	d.seen(true, 3359*s)
	got := d.totals()
	if want := got.FromMeter.Seconds() * 5; math.Abs(got.Reckoned-want) > 1 || want < 720*3600*5-20 {
		t.Errorf("%.0f strokes are said to be reckoned, %.0f are", got.Reckoned, want)
	}
	told := 0.0
	for _, e := range d.events {
		if e.Kind == counters.GapClosed {
			told += e.Reckoned
		}
	}
	if math.Abs(told-got.Reckoned) > 1e-6*told {
		t.Errorf("the events tell of %.0f reckoned strokes, the totals of %.0f", told, got.Reckoned)
	}
}

func TestMeterKindLearntLate(t *testing.T) {
	t.Run("a gap of unknown length before a stop: unobserved time stays above zero", func(t *testing.T) {
		d := &day{newRig(t, metered(counters.KindUnknown)), 99*h + 54*m}
		d.seen(true, 10*m+s)
		d.reboot(20*h, false)
		d.meter += 20 * h
		d.read(true)
		d.seen(true, 3359*s)
		d.seen(false, 2*h)
		got := d.totals()
		if got.Unobserved != 0 || got.FromMeter < 19*h || got.Unbounded != 0 || got.FromMeterLoose != got.FromMeter {
			t.Errorf("%v from the meter, %v of it loose; %v unobserved, %d gaps unbounded", got.FromMeter, got.FromMeterLoose, got.Unobserved, got.Unbounded)
		}
	})
	t.Run("another gap is open then: it keeps its proof", func(t *testing.T) {
		d := &day{newRig(t, metered(counters.KindUnknown)), 99*h + 54*m}
		d.seen(true, 10*m+s)
		d.unseen(true, 2*h)
		d.seen(true, 3359*s) // ticks, which closes the first
		d.unseen(true, 3*h)
		d.seen(false, 2*h) // tells the kind
		got := d.totals()
		if got.FromMeter < 4*h+59*m || got.FromMeter > 5*h || got.Unobserved > m {
			t.Errorf("%v from the meter and %v unobserved; 5 h were run in the two gaps", got.FromMeter, got.Unobserved)
		}
	})
}
