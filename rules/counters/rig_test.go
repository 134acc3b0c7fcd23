package counters_test

import (
	"testing"
	"time"

	"pumpside/drivers"
	"pumpside/rules/counters"
)

const (
	bootA = "6f1c1b1e-7a51-4d0e-9a53-0d2f4bd1a001"
	bootB = "6f1c1b1e-7a51-4d0e-9a53-0d2f4bd1b002"
)

var noon = time.Date(2026, 3, 1, 12, 0, 0, 0, time.UTC)

// A rig steps a State through a made-up day.
type rig struct {
	set    counters.Settings
	s      counters.State
	at     drivers.Instant
	events []counters.Event
}

func newRig(t testing.TB, set counters.Settings) *rig {
	t.Helper()
	checked, err := set.Checked()
	if err != nil {
		t.Fatal(err)
	}
	return &rig{set: checked, at: drivers.Instant{Boot: bootA, SinceBoot: time.Hour, Wall: noon, Synchronized: true}}
}

// wait lets time pass with nothing read.
func (r *rig) wait(d time.Duration) {
	r.at.SinceBoot += d
	r.at.Wall = r.at.Wall.Add(d)
}

func (r *rig) batch(readings ...drivers.Reading) {
	r.events = counters.Step(&r.set, &r.s, &drivers.Batch{At: r.at, Readings: readings}, r.events)
}

// poll reads the same every second for d.
func (r *rig) poll(d time.Duration, readings ...drivers.Reading) {
	for range d / time.Second {
		r.wait(time.Second)
		r.batch(readings...)
	}
}

// reboot lets the machine be off for d.
func (r *rig) reboot(off time.Duration, synchronized bool) {
	r.at = drivers.Instant{Boot: bootB, SinceBoot: 20 * time.Second, Wall: r.at.Wall.Add(off), Synchronized: synchronized}
	if !synchronized {
		r.at.Wall = time.Unix(20, 0).UTC() // no real-time clock: 1970
	}
}

// totals ends the instant being filled and gives what was counted.
func (r *rig) totals() counters.Totals {
	end := r.at
	end.SinceBoot += time.Millisecond
	r.events = counters.Step(&r.set, &r.s, &drivers.Batch{At: end}, r.events)
	return r.s.Totals(&r.set)
}

func (r *rig) kinds() (list []counters.Kind) {
	for _, e := range r.events {
		list = append(list, e.Kind)
	}
	return list
}

func good(s drivers.Signal, v float64) drivers.Reading {
	return drivers.Reading{Signal: s, Value: v, Quality: drivers.Good}
}

func bad(s drivers.Signal) drivers.Reading {
	return drivers.Reading{Signal: s, Value: 1, Reason: drivers.Timeout}
}

// The readings most cases are made of.
var (
	driveRuns   = good(drivers.DriveStatus, float64(drivers.DriveRunning))
	driveStops  = good(drivers.DriveStatus, float64(drivers.DriveStopped))
	driveFaults = good(drivers.DriveStatus, float64(drivers.DriveFault))
)

func rpm(v float64) drivers.Reading   { return good(drivers.MotorSpeed, v) }
func watts(v float64) drivers.Reading { return good(drivers.MotorPower, v) }
func meterHours(v float64) drivers.Reading {
	return good(drivers.DriveRunHours, v*3600)
}

// plain is a pump with a drive and nothing else.
var plain = counters.Settings{
	Installed:  counters.SignalsOf(drivers.DriveStatus, drivers.MotorSpeed),
	RatedSpeed: 1500,
	Ratio:      5,
}

// with adds signals.
func with(set counters.Settings, more ...drivers.Signal) counters.Settings {
	set.Installed |= counters.SignalsOf(more...)
	return set
}
