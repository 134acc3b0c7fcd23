package poll

import (
	"time"

	"pumpside/drivers/modbus"
)

// Facts are what a bus has lived through since the agent started.
type Facts struct {
	At      time.Time // of these facts
	Bus     string
	Load    float64 // share of the time the bus was busy, over about a minute
	Missed  int     // beats that went by without their poll
	Devices []DeviceFacts
}

// DeviceFacts are those of one device.
type DeviceFacts struct {
	Device   string
	Up       bool
	Requests uint64
	Failures []uint64 // by modbus.Reason
	Buckets  []uint64 // cumulative, by Bounds
	Sum      time.Duration
}

// Bounds are the upper ends of the buckets of request durations, in seconds.
var Bounds = []float64{0.002, 0.005, 0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 1, 2, 5}

// publishEvery is how often facts are copied for others.
const publishEvery = time.Second

// A tally counts; of a run only busy and published are used.
type tally struct {
	requests  uint64
	failures  [16]uint64
	buckets   [16]uint64
	sum       time.Duration
	up        bool
	busy      time.Duration
	published time.Time
	load      float64
}

// add counts one read. One that was never sent is a failure but no request.
func (t *tally) add(reason modbus.Reason, took time.Duration) {
	t.up = reason == modbus.None || reason == modbus.Refused
	t.failures[reason]++
	if reason == modbus.BackingOff || reason == modbus.Invalid {
		return
	}
	t.requests++
	t.sum += took
	for i, bound := range Bounds {
		if took.Seconds() <= bound {
			t.buckets[i]++
		}
	}
}

// publish copies the facts, at most once a second. The load is an average that
// forgets with a time constant of a minute.
func (r *run) publish() {
	now := time.Now()
	since := now.Sub(r.tally.published)
	if since < publishEvery {
		return
	}
	if !r.tally.published.IsZero() {
		share := min(since.Seconds()/60, 1)
		r.tally.load += share * (min(r.tally.busy.Seconds()/since.Seconds(), 1) - r.tally.load)
	}
	r.tally.busy, r.tally.published = 0, now
	f := &Facts{At: now, Bus: r.Settings.ID, Load: r.tally.load, Devices: make([]DeviceFacts, len(r.devices))}
	for i := range r.jobs {
		f.Missed += r.schedule.Missed(i)
	}
	for i, d := range r.devices {
		t := &d.tally
		counts := make([]uint64, len(Bounds)+len(modbus.Reasons())+1)
		buckets, failures := counts[:len(Bounds)], counts[len(Bounds):]
		copy(buckets, t.buckets[:])
		copy(failures, t.failures[:])
		f.Devices[i] = DeviceFacts{Device: d.ID, Up: t.up, Requests: t.requests, Failures: failures, Buckets: buckets, Sum: t.sum}
	}
	r.facts.Store(f)
}
