package rules_test

import (
	"testing"
	"time"

	"pumpside/drivers/modbus"
	"pumpside/drivers/quantity"
	"pumpside/rules/orders"
	"pumpside/simulator"
)

// A polled bench is read as the schedule of a bus says: drive and instruments
// once a second, pressure and index at 50 Hz for 20 s of every five minutes,
// and at a start.
type polledBench struct {
	*bench
	schedule *modbus.Schedule
	jobs     []modbus.Job
	fast     int // reads in windows
}

func newPolledBench(t *testing.T, s simulator.Settings) *polledBench {
	p := &polledBench{bench: newBench(t, s, sampling{poll: 20 * time.Millisecond, half: 3 * time.Millisecond, index: true})}
	p.jobs = []modbus.Job{
		{Request: modbus.Request{Unit: 1, Table: modbus.HoldingRegisters, Count: 8}, Class: modbus.Routine, Period: time.Second, Cost: 8 * time.Millisecond},
		{Request: modbus.Request{Unit: 2, Table: modbus.InputRegisters, Count: 2}, Class: modbus.Fast, Period: modbus.FastPeriod, Cost: 8 * time.Millisecond},
	}
	var err error
	if p.schedule, err = modbus.NewSchedule(0, p.jobs, []modbus.Window{{Every: 5 * time.Minute, Length: 20 * time.Second}}); err != nil {
		t.Fatal(err)
	}
	return p
}

func (p *polledBench) poll(until time.Duration) {
	for p.next < until {
		snap := p.state.Snapshot(p.set)
		p.schedule.Allow(0, snap.Steady)
		if snap.Ramping {
			p.schedule.Open(0, p.next)
		}
		job, at := p.schedule.Next(p.next)
		switch job {
		case -1:
			p.next = at
			continue
		case 0:
			p.readRoutine(p.next)
		case 1:
			p.fast++
			p.next += time.Duration(0.4 * p.rng.Float64() * float64(modbus.FastPeriod)) // held back at random
			p.readFast(p.next)
		}
		p.schedule.Begin(job, p.next)
		p.next += p.jobs[job].Cost
	}
}

// With nothing but fast windows the line is measured by a start, since a
// window opens for it, and half-stroke and cylinder can then be named.
func TestAStartReadInAWindowMeasuresTheLine(t *testing.T) {
	for _, tt := range []struct {
		name string
		ramp float64 // seconds from rest to rated speed
		want bool
	}{
		{"eight seconds to rated speed", 8, true},
		{"fifteen seconds", 15, true},
		{"started across the line: over before the first poll", 0.4, false},
	} {
		t.Run(tt.name, func(t *testing.T) {
			s := warm(11)
			s.Ramp = quantity.Seconds(tt.ramp)
			p := newPolledBench(t, s)
			p.event(simulator.Event{At: time.Minute, Do: simulator.Stop}, simulator.Event{At: 90 * time.Second, Do: simulator.Start})
			p.poll(55 * time.Second)
			if p.state.Ramping() {
				t.Error("a pump at one speed is ramping")
			}
			p.poll(3 * time.Minute)
			g := p.set.Geometry
			turns := float64(g.RatedSpeed) / 60
			if _, _, known := p.state.Observed.Line.At(turns, turns, orders.Path{}); known != tt.want {
				t.Errorf("line known at %.1f Hz: %v, want %v; %d points, %d fast reads", turns, known, tt.want, len(p.state.Observed.Line.Points), p.fast)
			}
			p.poll(33 * time.Minute)
			if most := 50 * 20 * 7; p.fast > most {
				t.Errorf("%d fast reads in 33 min, more than %d: a start must take the place of a window", p.fast, most)
			}
		})
	}
}
