package counters_test

import (
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"pumpside/drivers"
	"pumpside/rules/counters"
)

// metered is a pump whose drive has a meter of whole hours in 16 bits.
func metered(kind counters.MeterKind) counters.Settings {
	set := with(plain, drivers.DriveRunHours)
	set.HourMeter = counters.HourMeter{Resolution: time.Hour, Bits: 16, Kind: kind}
	return set
}

// A day is a pump beside its drive's meter.
type day struct {
	*rig
	meter time.Duration // what the meter truly has; it shows whole hours
}

func (d *day) read(runs bool) {
	m := meterHours(float64(d.meter / time.Hour % 65536))
	if runs {
		d.batch(driveRuns, rpm(1500), m)
		return
	}
	d.batch(driveStops, rpm(0), m)
}

// seen polls every second; the time before the first poll is part of it.
func (d *day) seen(runs bool, length time.Duration) {
	for range length / time.Second {
		d.wait(time.Second)
		if runs {
			d.meter += time.Second
		}
		d.read(runs)
	}
}

// unseen lets the pump run or stand with nobody looking.
func (d *day) unseen(runs bool, length time.Duration) {
	d.wait(length)
	if runs {
		d.meter += length
	}
}

const (
	h = time.Hour
	m = time.Minute
	s = time.Second
)

// bounds are the totals that a gap moves.
type bounds struct {
	Run, Unobserved, AtMost time.Duration
	Unbounded               uint32
}

func boundsOf(t counters.Totals) bounds {
	return bounds{t.Run, t.Unobserved, t.AtMost, t.Unbounded}
}

func TestHourMeterClosesGaps(t *testing.T) {
	tests := []struct {
		name  string
		kind  counters.MeterKind
		meter time.Duration
		do    func(d *day)
		want  bounds
	}{
		{
			// 100 h shown until ten minutes after the first reading: it had less
			// than 100:50 then. 105 h shown after: 4 h at least, 5:00:01 at most.
			"no tick seen: the difference of whole hours proves one less", counters.RunHours, 100*h + 30*m,
			func(d *day) {
				d.seen(true, 10*m+s)
				d.unseen(true, 5*h)
				d.seen(true, s)
			},
			bounds{Run: 10*m + 4*h, Unobserved: h + s, AtMost: h + s},
		},
		{
			// Ticks to 100 at the 360th second and to 103 at the 3359th after the
			// gap: 3 h between them, of which 241 s and 3358 s were counted.
			"a tick seen on both sides closes it to a second each", counters.RunHours, 99*h + 54*m,
			func(d *day) {
				d.seen(true, 10*m+s)
				d.unseen(true, 2*h)
				d.unseen(false, h)
				d.seen(true, 3359*s)
			},
			bounds{Run: 10*m + 2*h + 3358*s, Unobserved: h + s, AtMost: 2 * s},
		},
		{
			// 103:00:00 at the last tick, of which 4017 s were counted and 99:54:02
			// at most had been before: 1:59:01 is proven, 1:59:02 is true.
			"two gaps between ticks are closed together", counters.RunHours, 99*h + 54*m,
			func(d *day) {
				d.seen(true, 10*m+s)
				d.unseen(true, 59*m)
				d.unseen(false, h)
				d.seen(true, 60*s)
				d.unseen(true, h)
				d.seen(true, 3359*s)
			},
			bounds{Run: 10*m + 59*s + 3358*s + 119*m + s, Unobserved: h + s, AtMost: 2 * s},
		},
		{
			// 100 h before and after: less than 101 h now, at 99:54:01 + 10 min before.
			"a pump that stood all the while", counters.RunHours, 99*h + 54*m,
			func(d *day) {
				d.seen(true, 10*m+s)
				d.unseen(false, 5*h)
				d.seen(false, s)
			},
			bounds{Run: 10 * m, Unobserved: 5*h + s, AtMost: 55*m + 59*s},
		},
		{
			"a meter that runs fast cannot prove more than the gap was long", counters.RunHours, 99*h + 54*m,
			func(d *day) {
				d.seen(true, 10*m+s)
				d.unseen(true, 2*h)
				d.meter += 72 * m
				d.seen(true, s)
			},
			bounds{Run: 10*m + 2*h + s},
		},
		{
			"a meter of unknown kind proves nothing", counters.KindUnknown, 99*h + 54*m,
			func(d *day) {
				d.seen(true, 10*m+s)
				d.unseen(true, 5*h)
				d.seen(true, h)
			},
			bounds{Run: 10*m + h - s, Unobserved: 5*h + s, AtMost: 5*h + s},
		},
		{
			"once it stood still beside the pump for longer than a tick it counts run hours, and closes what waited", counters.KindUnknown, 99*h + 54*m,
			func(d *day) {
				d.seen(true, 10*m+s)
				d.unseen(true, 2*h)
				d.seen(true, h)
				d.seen(false, h+m)
			},
			bounds{Run: 10*m + 2*h + h, Unobserved: s, AtMost: s},
		},
		{
			// It moves by less than an hour in the gap: 1 h at most, being whole hours.
			"one that ticks while stopped counts power-on hours and bounds a gap from above", counters.KindUnknown, 99*h + 54*m,
			func(d *day) {
				d.seen(true, 20*s)
				for range 10 * m / s {
					d.meter += s
					d.seen(false, s)
				}
				d.unseen(false, 3*h) // without power
				d.seen(false, s)
			},
			bounds{Run: 20 * s, Unobserved: 3*h + s, AtMost: h},
		},
		{
			"even a meter said to count run hours, if it ticks while stopped", counters.RunHours, 99*h + 54*m,
			func(d *day) {
				d.seen(true, 20*s)
				for range 10 * m / s {
					d.meter += s
					d.seen(false, s)
				}
				d.unseen(true, 3*h)
				d.seen(false, s)
			},
			bounds{Run: 20 * s, Unobserved: 3*h + s, AtMost: 3*h + s},
		},
		{
			"power-on hours as a setting close nothing", counters.PowerOnHours, 99*h + 54*m,
			func(d *day) {
				d.seen(true, 10*m+s)
				d.unseen(true, 2*h)
				d.seen(true, s)
			},
			bounds{Run: 10 * m, Unobserved: 2*h + s, AtMost: 2*h + s},
		},
		{
			// Shows 65535 h before and 3 h after, which is 4 h more.
			"a register of 16 bits of hours rolls over", counters.RunHours, 65535*h + 48*m,
			func(d *day) {
				d.seen(true, 10*m+s)
				d.unseen(true, 4*h)
				d.seen(true, s)
			},
			bounds{Run: 10*m + 3*h, Unobserved: h + s, AtMost: h + s},
		},
		{
			"a replaced drive starts with its own hours and closes nothing", counters.RunHours, 12345*h + 54*m,
			func(d *day) {
				d.seen(true, 10*m+s)
				d.unseen(true, 4*h)
				d.meter = 3 * h
				d.seen(true, 3*s)
			},
			bounds{Run: 10*m + 2*s, Unobserved: 4*h + s, AtMost: 4*h + s},
		},
		{
			"a meter that jumped forward by more than the time was replaced", counters.RunHours, 100*h + 30*m,
			func(d *day) {
				d.seen(true, 10*m+s)
				d.unseen(true, 4*h)
				d.meter += 20 * h
				d.seen(true, 3*s)
			},
			bounds{Run: 10*m + 2*s, Unobserved: 4*h + s, AtMost: 4*h + s},
		},
		{
			"one garbled reading is left out", counters.RunHours, 100*h + 30*m,
			func(d *day) {
				d.seen(true, 10*m)
				d.meter += 40000 * h
				d.seen(true, s)
				d.meter -= 40000 * h
				d.seen(true, 10*m)
				d.unseen(true, 4*h)
				d.seen(true, s)
			},
			bounds{Run: 20*m + 3*h, Unobserved: h + s, AtMost: h + s},
		},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			d := &day{newRig(t, metered(tt.kind)), tt.meter}
			tt.do(d)
			if diff := cmp.Diff(tt.want, boundsOf(d.totals())); diff != "" {
				t.Errorf("-want +got\n%s", diff)
			}
		})
	}
}

func TestGapEventsCarryTheirNumbers(t *testing.T) {
	d := &day{newRig(t, metered(counters.RunHours)), 65535*h + 54*m}
	d.seen(true, 10*m+s)
	d.unseen(true, 2*h)
	d.unseen(false, h)
	d.seen(true, 3359*s)
	d.unseen(true, 30*s) // counted, but too short to tell
	d.seen(true, 10*s)
	d.meter = 17 * h
	d.seen(true, 2*s)
	d.totals()
	for i := range d.events {
		d.events[i].At = drivers.Instant{}
	}
	want := []counters.Event{
		{Kind: counters.MeterRolledOver, Meter: counters.DriveHours, From: 65535 * 3600, To: 0},
		{Kind: counters.GapUnobserved, For: 3*h + s},
		{Kind: counters.GapClosed, Run: h + 55*m + 58*s, AtMost: h + s, Reckoned: (h + 55*m + 58*s).Seconds() * 5},
		{Kind: counters.GapClosed, Run: 4*m + 2*s, AtMost: 2 * s, Reckoned: (4*m + 2*s).Seconds() * 5},
		{Kind: counters.MeterReplaced, Meter: counters.DriveHours, From: 3 * 3600, To: 17 * 3600},
	}
	if diff := cmp.Diff(want, d.events); diff != "" {
		t.Errorf("-want +got\n%s", diff)
	}
}

func TestReboots(t *testing.T) {
	tests := []struct {
		name string
		set  counters.Settings
		do   func(d *day)
		want bounds
	}{
		{"both clocks synchronised: the gap is as long as they say", plain, func(d *day) {
			d.seen(true, 10*m+s)
			d.reboot(h, true)
			d.read(true)
			d.seen(true, m)
		}, bounds{Run: 11 * m, Unobserved: h, AtMost: h}},
		{"no clock: at least the twenty seconds since the boot, and no bound", plain, func(d *day) {
			d.seen(true, 10*m+s)
			d.reboot(h, false)
			d.read(true)
			d.seen(true, m)
		}, bounds{Run: 11 * m, Unobserved: 20 * s, AtMost: 20 * s, Unbounded: 1}},
		{"a clock that is synchronised later dates the gap after the fact", plain, func(d *day) {
			d.seen(true, 10*m+s)
			wall := d.at.Wall
			d.reboot(h, false)
			d.read(true)
			d.seen(true, m)
			d.at.Wall, d.at.Synchronized = wall.Add(h+m), true
			d.seen(true, m)
		}, bounds{Run: 12 * m, Unobserved: h, AtMost: h}},
		{"a clock that was never synchronised before cannot", plain, func(d *day) {
			d.at.Synchronized = false
			d.seen(true, 10*m+s)
			d.reboot(h, true)
			d.read(true)
			d.seen(true, m)
		}, bounds{Run: 11 * m, Unobserved: 20 * s, AtMost: 20 * s, Unbounded: 1}},
		{"clocks that contradict the time since boot are not believed", plain, func(d *day) {
			d.seen(true, 10*m+s)
			d.reboot(-h, true)
			d.read(true)
		}, bounds{Run: 10 * m, Unobserved: 20 * s, AtMost: 20 * s, Unbounded: 1}},
		{"a reboot while nothing can be read is one gap", plain, func(d *day) {
			d.seen(true, 10*m+s)
			d.unseen(true, m)
			d.batch()
			d.reboot(h, true)
			d.batch()
			d.wait(m)
			d.read(true)
		}, bounds{Run: 10 * m, Unobserved: h + 2*m, AtMost: h + 2*m}},
		{"a reboot that is going on is shown, without a bound", plain, func(d *day) {
			d.seen(true, 10*m+s)
			d.reboot(h, true)
			d.batch()
		}, bounds{Run: 10 * m, Unobserved: 20*s + time.Millisecond, AtMost: 20*s + time.Millisecond, Unbounded: 1}},
		{"an hour meter proves run time in a gap of unknown length, and bounds it", metered(counters.RunHours), func(d *day) {
			// Ticks to 100 and, after 5:00:01 of run time, to 106: as in a gap of
			// known length, but for the twenty seconds that are known.
			d.seen(true, 10*m+s)
			d.reboot(5*h, false)
			d.meter += 5*h + s
			d.read(true)
			d.seen(true, 3358*s)
		}, bounds{Run: 10*m + 5*h + 3358*s, Unobserved: 0, AtMost: 2 * s}},
		{"but waits for the clock a quarter of an hour", metered(counters.RunHours), func(d *day) {
			// 105 h shown for the last time at 24:59 counted: less than 106 h less
			// that now, 99:54:01 at least before.
			d.seen(true, 10*m+s)
			d.reboot(5*h, false)
			d.meter += 5*h + s
			d.read(true)
			d.seen(true, 15*m-s)
		}, bounds{Run: 10*m + 15*m - s, Unobserved: 20 * s, AtMost: 5*h + 41*m, Unbounded: 1}},
		{"a drive with other hours after a reboot was replaced", metered(counters.RunHours), func(d *day) {
			d.seen(true, 10*m+s)
			d.reboot(5*h, false)
			d.meter += 32 * 24 * h
			d.read(true)
			d.seen(true, m)
		}, bounds{Run: 11 * m, Unobserved: 20 * s, AtMost: 20 * s, Unbounded: 1}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			d := &day{newRig(t, tt.set), 99*h + 54*m}
			tt.do(d)
			if diff := cmp.Diff(tt.want, boundsOf(d.totals())); diff != "" {
				t.Errorf("-want +got\n%s", diff)
			}
		})
	}
}

func TestAnAgentKilledBetweenTwoSaves(t *testing.T) {
	tests := []struct {
		name       string
		lost, down time.Duration // run since the last save, and until the agent is back
		want       bounds
	}{
		{"back within max gap: nothing is lost, nothing twice", 4 * s, 5 * s, bounds{Run: 129 * s}},
		{"a minute lost and a minute down are unobserved", m, m, bounds{Run: m + m - s, Unobserved: 2*m + s, AtMost: 2*m + s}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			r := newRig(t, plain)
			r.poll(m+s, driveRuns, rpm(1500))
			saved, err := r.s.MarshalBinary()
			if err != nil {
				t.Fatal(err)
			}
			r.poll(tt.lost, driveRuns, rpm(1500))
			r.wait(tt.down)
			if err := r.s.UnmarshalBinary(saved); err != nil {
				t.Fatal(err)
			}
			r.poll(m, driveRuns, rpm(1500))
			if diff := cmp.Diff(tt.want, boundsOf(r.totals())); diff != "" {
				t.Errorf("-want +got\n%s", diff)
			}
		})
	}
}
