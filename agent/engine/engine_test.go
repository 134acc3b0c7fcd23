package engine_test

import (
	"context"
	"errors"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"pumpside/agent/engine"
	"pumpside/drivers"
	"pumpside/rules"
	"pumpside/rules/alarm"
	"pumpside/rules/counters"
	"pumpside/rules/service"
	"pumpside/rules/site"
)

// book keeps what is handed to it and tells in which order.
type book struct {
	mu      sync.Mutex
	records []engine.Record
	counted int
	told    []string // "kept N" and "told N" by sequence number
}

func (b *book) Keep(_ context.Context, r engine.Record) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.records = append(b.records, r)
	for range r.Events {
		b.told = append(b.told, "kept")
	}
}

func (b *book) Count(string, []byte) { b.mu.Lock(); defer b.mu.Unlock(); b.counted++ }

func (b *book) Tell(_ string, events []*alarm.Event) {
	b.mu.Lock()
	defer b.mu.Unlock()
	for range events {
		b.told = append(b.told, "told")
	}
}

// pump makes a pump on the bubble's fake clock.
func pump(t *testing.T, several bool) (*engine.Pump, *book) {
	t.Helper()
	set, err := rules.Settings{
		Pump:     "gp-1",
		Signals:  []rules.SignalSettings{{Signal: drivers.DriveStatus}, {Signal: drivers.MotorSpeed}, {Signal: drivers.DiaphragmLeak}, {Signal: drivers.GlycolLevel}},
		Counters: counters.Settings{Installed: counters.SignalsOf(drivers.DriveStatus, drivers.MotorSpeed)},
		Tasks:    []service.Task{{Name: "oil", RunTime: time.Hour, DueSoon: 0.9, Overdue: 1.1}},
	}.Checked()
	if err != nil {
		t.Fatal(err)
	}
	began, b := time.Now(), &book{}
	p := &engine.Pump{
		Settings: set, Several: several, Keeper: b, Tell: b.Tell,
		Now: func() drivers.Instant {
			return drivers.Instant{Wall: time.Now().UTC(), Boot: "a", SinceBoot: time.Minute + time.Since(began), Synchronized: true}
		},
	}
	p.Load(nil)
	return p, b
}

func batch(at drivers.Instant, readings ...drivers.Reading) drivers.Batch {
	return drivers.Batch{At: at, Readings: readings}
}

func good(s drivers.Signal, v float64) drivers.Reading {
	return drivers.Reading{Signal: s, Value: v, Quality: drivers.Good}
}

// within runs the pump for the length of f.
func within(t *testing.T, p *engine.Pump, f func(ctx context.Context)) {
	t.Helper()
	ctx, stop := context.WithCancel(t.Context())
	done := make(chan error)
	go func() { done <- p.Run(ctx) }()
	f(ctx)
	stop()
	if err := <-done; err != nil {
		t.Errorf("Run = %v after it was asked to stop", err)
	}
}

func TestEventsAreKeptBeforeTheyAreTold(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		p, b := pump(t, false)
		within(t, p, func(context.Context) {
			for range 10 {
				p.Deliver(batch(p.Now(), good(drivers.DiaphragmLeak, 1)))
				time.Sleep(time.Second)
			}
		})
		if len(b.told) < 2 || b.told[0] != "kept" || b.told[1] != "told" {
			t.Errorf("order %v", b.told)
		}
		if v := alarmOf(p, "diaphragm_leak"); v.State != alarm.Unacknowledged {
			t.Errorf("diaphragm_leak is %v", v.State)
		}
		last := b.records[len(b.records)-1]
		if last.State == nil || last.Counters == nil {
			t.Error("the stop writes no state")
		}
		if b.counted < 9 {
			t.Errorf("counters were handed over %d times in 10 s", b.counted)
		}
	})
}

func alarmOf(p *engine.Pump, name string) alarm.View {
	for _, v := range p.Snapshot().Alarms {
		if v.Name == name {
			return v
		}
	}
	return alarm.View{}
}

func TestBatchesOfSeveralBusesAreSteppedInOrder(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		p, _ := pump(t, true)
		within(t, p, func(context.Context) {
			first := p.Now()
			time.Sleep(100 * time.Millisecond)
			p.Deliver(batch(p.Now(), good(drivers.GlycolLevel, 0.2)))
			time.Sleep(20 * time.Millisecond)
			p.Deliver(batch(first, good(drivers.GlycolLevel, 0.9))) // came later, was true earlier
			time.Sleep(2 * time.Second)
		})
		for _, v := range p.Snapshot().Signals {
			if v.Signal == drivers.GlycolLevel && v.Value != 0.2 {
				t.Errorf("level %v: the older reading won", v.Value)
			}
		}
	})
}

func TestCommandsAreAnsweredWithTheirEvent(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		p, _ := pump(t, false)
		within(t, p, func(ctx context.Context) {
			e, err := p.Do(ctx, drivers.Command{ID: "1", User: "op", Verb: drivers.Shelve, Alarm: "diaphragm_leak", For: time.Hour})
			if err != nil || e.Kind != alarm.Shelved || e.CommandID != "1" {
				t.Errorf("shelve: %v, %v", e, err)
			}
			if v := alarmOf(p, "diaphragm_leak"); !v.Shelved || v.ShelvedBy != "op" {
				t.Errorf("right after the answer the snapshot says %+v", v)
			}
			e, err = p.Do(ctx, drivers.Command{ID: "2", User: "op", Verb: drivers.Reset, Alarm: "nothing"})
			if err != nil || e.Kind != alarm.Refused || e.Refusal == "" {
				t.Errorf("an unknown alarm: %v, %v", e, err)
			}
		})
		short, cancel := context.WithTimeoutCause(t.Context(), time.Second, engine.ErrStopping)
		defer cancel()
		if _, err := p.Do(short, drivers.Command{ID: "3", User: "op", Verb: drivers.Reset}); !errors.Is(err, engine.ErrStopping) {
			t.Errorf("a command after the stop: %v", err)
		}
	})
}

func TestAFullInboxDropsAndCounts(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		p, _ := pump(t, false)
		for range 1000 {
			p.Deliver(batch(p.Now())) // nobody runs
		}
		if n := p.Dropped(); n == 0 || n == 1000 {
			t.Errorf("%d of 1000 dropped", n)
		}
	})
}

func TestSnapshotsAreNotChangedAfterwards(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		p, _ := pump(t, false)
		within(t, p, func(context.Context) {
			p.Deliver(batch(p.Now(), good(drivers.GlycolLevel, 0.5)))
			time.Sleep(1500 * time.Millisecond)
			before := p.Snapshot()
			p.Deliver(batch(p.Now(), good(drivers.GlycolLevel, 0.7)))
			time.Sleep(1500 * time.Millisecond)
			if before == p.Snapshot() || before.Signals[3].Value != 0.5 || p.Snapshot().Signals[3].Value != 0.7 {
				t.Errorf("level %v, then %v", before.Signals[3].Value, p.Snapshot().Signals[3].Value)
			}
		})
	})
}

func TestSiteTellsOfASilentDevice(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		set, err := site.Settings{Buses: []string{"skid"}, Devices: []site.Device{{ID: "drive-1", Bus: "skid"}}}.Checked()
		if err != nil {
			t.Fatal(err)
		}
		began, b := time.Now(), &book{}
		s := &engine.Site{
			Settings: set, Keeper: b, Tell: b.Tell,
			Look: func() engine.Sight { return engine.Sight{} },
			Now: func() drivers.Instant {
				return drivers.Instant{Wall: time.Now().UTC(), Boot: "a", SinceBoot: time.Since(began), Synchronized: true}
			},
		}
		s.Load(nil, site.Started{First: true, Unclean: true})
		ctx, stop := context.WithCancel(t.Context())
		done := make(chan error)
		go func() { done <- s.Run(ctx) }()
		for range 60 {
			s.Polled("drive-1", false)
			time.Sleep(time.Second)
		}
		got := map[string]alarm.State{}
		for _, v := range s.Snapshot().Alarms {
			got[v.Name] = v.State
		}
		if got["drive-1_device_silent"] != alarm.Unacknowledged {
			t.Errorf("after a minute of silence: %v", got)
		}
		if got["unclean_stop"] == alarm.Normal {
			t.Errorf("an unclean stop is not told: %v", got)
		}
		stop()
		if err := <-done; err != nil {
			t.Error(err)
		}
	})
}
