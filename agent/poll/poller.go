package poll

import (
	"context"
	"fmt"
	"math/rand/v2"
	"slices"
	"sync/atomic"
	"time"

	"pumpside/drivers"
	"pumpside/drivers/modbus"
	"pumpside/drivers/regmap"
)

// A Poller polls one bus. Fill in the fields, then Run.
type Poller struct {
	Settings Settings
	Instant  func(time.Time) drivers.Instant // the clock of the rules
	Deliver  func(pump int, b drivers.Batch) // takes the batch over; must not block for long
	Polled   func(device string, answered bool)
	Steady   func(pump int) bool // whether the pump runs steadily enough for a fast window
	Ramping  func(pump int) bool // whether its shaft starts or changes speed, which is worth a window at once; nil: never

	facts atomic.Pointer[Facts]
	raw   raw
}

// Facts gives what the bus has lived through; nil before Run. Any goroutine
// may call it; nobody may change what it returns.
func (p *Poller) Facts() *Facts { return p.facts.Load() }

// Run polls until ctx ends, and returns nil then. An error means that the
// settings cannot be used.
func (p *Poller) Run(ctx context.Context) error {
	bus, err := modbus.Open(p.Settings.Bus)
	if err != nil {
		return err
	}
	defer bus.Close()
	r := &run{Poller: p, bus: bus, began: time.Now()}
	r.plans, r.windows, r.fast = p.Settings.plans()
	for i := range p.Settings.Devices {
		r.devices = append(r.devices, newDevice(&p.Settings.Devices[i]))
	}
	r.raw.begin(r.neverRead())
	if err = r.reschedule(); err == nil {
		err = r.loop(ctx)
	}
	if err != nil {
		return fmt.Errorf("bus %s: %w", p.Settings.ID, err)
	}
	return nil
}

// neverRead is how every point stands before the first answer.
func (r *run) neverRead() [][]Seen {
	all := make([][]Seen, len(r.devices))
	for i, d := range r.devices {
		all[i] = make([]Seen, len(d.Map.Points))
		for j := range all[i] {
			all[i][j].Reason = drivers.NeverRead
		}
	}
	return all
}

// A run is a Poller at work: one goroutine owns it.
type run struct {
	*Poller
	bus      *modbus.Bus
	began    time.Time
	plans    []plan
	windows  []modbus.Window
	fast     [][]int       // pumps that each window is for
	blocks   []block       // of the schedule's jobs
	start    time.Duration // of the schedule's beats
	schedule *modbus.Schedule
	jobs     []modbus.Job
	devices  []*device
	missed   int // beats, of the schedules before this one
	tally    tally
	values   []regmap.Value
}

func (r *run) reschedule() (err error) {
	r.missed = r.allMissed()
	r.jobs, r.blocks, err = r.Settings.jobs(r.plans)
	if err != nil {
		return err
	}
	r.start = r.lastBeat()
	r.schedule, err = modbus.NewSchedule(r.start, r.jobs, r.windows)
	return err
}

// allMissed counts the beats that went by without their poll.
func (r *run) allMissed() int {
	n := r.missed
	for i := range r.jobs {
		n += r.schedule.Missed(i)
	}
	return n
}

// lastBeat is the newest instant at which every beat can begin anew and stay on
// its grid, as nearly as one instant can: the last of the quickest beat.
func (r *run) lastBeat() time.Duration {
	now, quickest := time.Since(r.began), time.Hour
	for i := range r.jobs {
		if p := r.jobs[i].Period; p > 0 {
			quickest = min(quickest, p)
		}
	}
	return now.Truncate(quickest)
}

func (r *run) loop(ctx context.Context) error {
	wait := time.NewTimer(0)
	defer wait.Stop()
	for ctx.Err() == nil {
		if err := r.join(); err != nil {
			return err
		}
		now := time.Since(r.began)
		for w, pumps := range r.fast {
			r.schedule.Allow(w, r.all(pumps))
			if r.Ramping != nil && slices.ContainsFunc(pumps, r.Ramping) {
				r.schedule.Open(w, now)
			}
		}
		r.publish()
		job, at := r.schedule.Next(now)
		if job >= 0 {
			r.tally.began(&r.jobs[job], now-r.start)
			r.schedule.Begin(job, now)
			r.dither(ctx, wait, job)
			r.do(ctx, job)
			continue
		}
		pause(ctx, wait, min(at-now, r.patience()))
	}
	return nil
}

// patience is the longest wait before the pumps are looked at again: a start
// is over in seconds, and the drive may be on another bus.
func (r *run) patience() time.Duration {
	if len(r.fast) > 0 {
		return time.Second / 4
	}
	return time.Second
}

// dithering is the part of its period by which a fast read is held back at
// random. Instants on a grid cannot tell a line from its aliases: jitter of a
// fifth of the period leaves an alias seven sampling frequencies away less
// than a hundredth of its power (sinc², see rules/orders).
const dithering = 0.4

func (r *run) dither(ctx context.Context, wait *time.Timer, job int) {
	if j := &r.jobs[job]; j.Class == modbus.Fast {
		pause(ctx, wait, time.Duration(dithering*rand.Float64()*float64(j.Period)))
	}
}

func pause(ctx context.Context, wait *time.Timer, d time.Duration) {
	wait.Reset(d)
	select {
	case <-ctx.Done():
	case <-wait.C:
	}
}

func (r *run) all(pumps []int) bool {
	for _, pump := range pumps {
		if !r.Steady(pump) {
			return false
		}
	}
	return true
}

// do carries out one job and hands on what came of it.
func (r *run) do(ctx context.Context, job int) {
	device := r.plans[r.blocks[job].plan].device
	d := r.devices[device]
	request := r.jobs[job].Request
	start, before := time.Now(), r.bus.Facts().Requests
	answer, err := r.bus.Read(ctx, request)
	if ctx.Err() != nil {
		return // do not blame the device for our own shutdown
	}
	reason := modbus.ReasonOf(err)
	facts := r.bus.Facts()
	d.tally.add(reason, facts.Requests > before, facts.LastDuration)
	r.tally.busy += time.Since(start)
	r.Polled(d.ID, err == nil || reason == modbus.Refused)
	r.heard(device, reason)
	if err != nil {
		r.failed(ctx, job, device, err)
		return
	}
	b := &r.blocks[job]
	r.plans[b.plan].split.answered(b.Span)
	at, halfWidth := answer.At()
	r.values = d.decoder.Decode(r.values[:0], r.Instant(at), regmap.Answer{
		Table: regmap.Table(request.Table), First: request.First, Words: answer.Words, Bits: answer.Bits,
	})
	r.raw.see(device, r.values, at)
	r.hand(d, drivers.Batch{At: r.Instant(at), HalfWidth: halfWidth})
}

// failed hands on bad readings. A block that goes on being refused is read in
// smaller ones, at once; see [split].
func (r *run) failed(ctx context.Context, job, device int, err error) {
	d := r.devices[device]
	reason := modbus.ReasonOf(err)
	b := r.blocks[job]
	request := r.jobs[job].Request
	if modbus.RefusesRange(err) && r.cut(b) {
		return
	}
	span := regmap.Span{Table: regmap.Table(request.Table), First: request.First, Count: request.Count}
	r.values = d.decoder.Fail(r.values[:0], span, reasonOf[reason])
	r.raw.see(device, r.values, time.Time{})
	r.hand(d, drivers.Batch{At: r.Instant(time.Now())})
	if r.Settings.Bus.Kind != modbus.TCP && reason != modbus.Refused && reason != modbus.BackingOff {
		_ = r.bus.Settle(ctx) // the next read says what it finds
	}
}

// reasonOf is why a reading is bad when its read failed.
var reasonOf = map[modbus.Reason]drivers.Reason{
	modbus.Timeout:      drivers.Timeout,
	modbus.Refused:      drivers.Refused,
	modbus.Framing:      drivers.Garbled,
	modbus.Checksum:     drivers.Garbled,
	modbus.Disconnected: drivers.Disconnected,
	modbus.Settling:     drivers.BackingOff,
	modbus.BackingOff:   drivers.BackingOff,
	modbus.Cancelled:    drivers.ShuttingDown,
	modbus.Invalid:      drivers.Refused,

	modbus.GatewaySilence: drivers.Timeout,
}

// hand makes a batch for each pump out of the values, each with readings of
// its own.
func (r *run) hand(d *device, b drivers.Batch) {
	for i := range d.pumps {
		d.pumps[i].readings = nil
	}
	for _, v := range r.values {
		for _, f := range d.feeds[v.Point] {
			to := &d.pumps[f.slot]
			if to.readings == nil {
				to.readings = make([]drivers.Reading, 0, min(len(r.values), to.feeds))
			}
			to.readings = append(to.readings, v.Reading(f.signal))
		}
	}
	for i := range d.pumps {
		if to := &d.pumps[i]; to.readings != nil {
			b.Readings = to.readings
			r.Deliver(to.pump, b)
		}
	}
}
