package poll

import (
	"time"

	"pumpside/drivers/modbus"
)

// Facts are what a bus has lived through since the agent started.
type Facts struct {
	At      time.Time // of these facts
	Bus     string
	Load    float64       // share of the time the bus was busy, over about a minute
	Missed  int           // beats that went by without their poll
	Late    time.Duration // worst lateness of a routine poll behind its beat, over the last half to full minute
	Devices []DeviceFacts
}

// DeviceFacts are those of one device.
type DeviceFacts struct {
	Device   string
	Up       bool
	Tried    bool     // a read has ended, though its request may never have left
	Requests uint64   // that left
	Failures []uint64 // by modbus.Reason
	Answers  uint64   // of the device, refusals included; Buckets and Sum are theirs
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
	answers   uint64
	failures  [16]uint64
	buckets   [16]uint64
	sum       time.Duration
	up        bool
	tried     bool
	busy      time.Duration
	published time.Time
	load      float64

	late, lateBefore time.Duration // worst of this half minute and the one before
	lateSince        time.Time
}

// lateSpan is how long a worst lateness is kept before a newer one replaces it.
const lateSpan = 30 * time.Second

// began notes how late a routine poll begins, at a time since the beats did.
func (t *tally) began(j *modbus.Job, since time.Duration) {
	if j.Class == modbus.Routine {
		t.late = max(t.late, since%j.Period)
	}
}

// worstLate gives the worst lateness, and forgets what is old.
func (t *tally) worstLate(now time.Time) time.Duration {
	worst := max(t.late, t.lateBefore)
	if now.Sub(t.lateSince) >= lateSpan {
		t.late, t.lateBefore, t.lateSince = 0, t.late, now
	}
	return worst
}

// add counts one read. One that never left is a failure but no request, and
// only an answer has a duration.
func (t *tally) add(reason modbus.Reason, sent bool, took time.Duration) {
	t.up = reason == modbus.None || reason == modbus.Refused
	t.tried = true
	t.failures[reason]++
	if sent {
		t.requests++
	}
	if !t.up {
		return
	}
	t.answers++
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
	f := &Facts{At: now, Bus: r.Settings.ID, Load: r.tally.load, Late: r.tally.worstLate(now), Devices: make([]DeviceFacts, len(r.devices))}
	f.Missed = r.allMissed()
	for i, d := range r.devices {
		t := &d.tally
		counts := make([]uint64, len(Bounds)+len(modbus.Reasons())+1)
		buckets, failures := counts[:len(Bounds)], counts[len(Bounds):]
		copy(buckets, t.buckets[:])
		copy(failures, t.failures[:])
		f.Devices[i] = DeviceFacts{Device: d.ID, Up: t.up, Tried: t.tried, Requests: t.requests, Failures: failures, Answers: t.answers, Buckets: buckets, Sum: t.sum}
	}
	r.facts.Store(f)
}
