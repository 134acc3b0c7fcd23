package site_test

import (
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"pumpside/drivers"
	"pumpside/rules/alarm"
	"pumpside/rules/site"
)

var noon = time.Date(2026, 3, 1, 12, 0, 0, 0, time.UTC)

// A rig steps a site with a drive on a bus of its own and two devices that
// share one, a second at a time.
type rig struct {
	set    *site.Settings
	state  *site.State
	batch  site.Batch
	silent map[int]bool
	events []*alarm.Event
}

func newRig(t *testing.T) *rig {
	t.Helper()
	set, err := site.Settings{
		Buses:   []string{"line", "skid"},
		Devices: []site.Device{{ID: "drive", Bus: "line"}, {ID: "module", Bus: "skid"}, {ID: "meter", Bus: "skid"}},
		Broker:  true,
	}.Checked()
	if err != nil {
		t.Fatal(err)
	}
	state, events := site.Start(set, nil)
	if len(events) > 0 {
		t.Fatalf("a new site starts with %v", events)
	}
	r := &rig{set: set, state: state, silent: map[int]bool{}}
	r.batch = site.Batch{
		At:     drivers.Instant{Wall: noon, Boot: "a", SinceBoot: time.Hour, Synchronized: true},
		Outbox: site.Outbox{Connected: true},
	}
	return r
}

func (r *rig) pass(d time.Duration) []string {
	from := len(r.events)
	for range int(d / time.Second) {
		r.batch.Polls = nil
		for i := range r.set.Devices {
			r.batch.Polls = append(r.batch.Polls, site.Poll{Device: i, Answered: !r.silent[i]})
		}
		r.events = append(r.events, site.Step(r.set, r.state, &r.batch)...)
		r.batch.Started, r.batch.Commands = site.Started{}, nil
		r.batch.At.SinceBoot += time.Second
		r.batch.At.Wall = r.batch.At.Wall.Add(time.Second)
	}
	names := []string{}
	for _, e := range r.events[from:] {
		names = append(names, e.Kind.String()+" "+e.Alarm)
	}
	return names
}

func TestSiteAlarms(t *testing.T) {
	tests := []struct {
		name   string
		change func(r *rig)
		within time.Duration
		want   []string
	}{
		{"all is well", func(*rig) {}, time.Hour, []string{}},
		{"one device is silent", func(r *rig) { r.silent[1] = true }, time.Minute, []string{"raised module_device_silent"}},
		{"a bus with several devices speaks for them", func(r *rig) { r.silent[1], r.silent[2] = true, true }, time.Minute, []string{"raised skid_bus_down"}},
		{"a bus with one device leaves it to the device", func(r *rig) { r.silent[0] = true }, time.Minute, []string{"raised drive_device_silent"}},
		{"a miss or two is nothing", func(r *rig) { r.silent[0] = true; r.pass(2 * time.Second); r.silent[0] = false }, time.Minute, []string{}},
		{"the store fails", func(r *rig) { r.batch.Store.Failing = true }, 5 * time.Second, []string{"raised store_failing"}},
		{"the store is slow", func(r *rig) { r.batch.Store.Wait = 2.5 }, 90 * time.Second, []string{"raised store_slow"}},
		{"the disk fills up", func(r *rig) { r.batch.Store.Disk = 0.95 }, 90 * time.Second, []string{"raised disk_full"}},
		{"a disk of unknown size is not judged", func(r *rig) { r.batch.Store.Disk = 0 }, 90 * time.Second, []string{}},
		{"the clock is not synchronised", func(r *rig) { r.batch.At.Synchronized = false }, 2 * time.Hour, []string{"raised clock_not_synchronised"}},
		{"the broker is away", func(r *rig) { r.batch.Outbox.Connected = false }, 20 * time.Minute, []string{"raised broker_unreachable"}},
		{"the outbox drops events", func(r *rig) { r.batch.Outbox.Dropped = 3 }, 5 * time.Second, []string{"raised outbox_dropping"}},
		{"the outbox fills", func(r *rig) { r.batch.Outbox.Filled = 0.6 }, 2 * time.Minute, []string{"raised outbox_filling"}},
		{"a bad configuration was refused", func(r *rig) { r.batch.Refused = true }, 5 * time.Second, []string{"raised configuration_refused"}},
		{"the state file was damaged: latched until someone resets it", func(r *rig) { r.batch.Started = site.Started{First: true, Damaged: true} }, 5 * time.Second, []string{"raised store_damaged", "cleared store_damaged"}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			r := newRig(t)
			r.pass(time.Minute)
			tt.change(r)
			if d := cmp.Diff(tt.want, r.pass(tt.within)); d != "" {
				t.Errorf("events (-want +got):\n%s", d)
			}
		})
	}
}

func TestDeviceAnswersAgain(t *testing.T) {
	r := newRig(t)
	r.silent[1] = true
	r.pass(2 * time.Minute)
	if v := r.state.Snapshot(r.set).Devices[1]; v.Up != alarm.No {
		t.Errorf("a silent device is up: %v", v)
	}
	r.silent[1] = false
	if d := cmp.Diff([]string{"cleared module_device_silent"}, r.pass(time.Minute)); d != "" {
		t.Errorf("events (-want +got):\n%s", d)
	}
}

func TestSavedSiteGoesOn(t *testing.T) {
	r := newRig(t)
	r.silent[1] = true
	r.pass(2 * time.Minute)
	text, err := r.state.Marshal()
	if err != nil {
		t.Fatal(err)
	}
	saved, err := site.Unmarshal(text)
	if err != nil {
		t.Fatal(err)
	}
	r.state, _ = site.Start(r.set, saved)
	r.batch.Commands = []drivers.Command{{ID: "1", User: "op", Verb: drivers.Acknowledge, Alarm: "module_device_silent"}}
	if d := cmp.Diff([]string{"acknowledged module_device_silent"}, r.pass(time.Minute)); d != "" {
		t.Errorf("events (-want +got):\n%s", d)
	}
	if r.events[len(r.events)-1].Seq != 2 {
		t.Errorf("the sequence goes on with %d", r.events[len(r.events)-1].Seq)
	}
}

func TestSettingsAreChecked(t *testing.T) {
	_, err := site.Settings{Buses: []string{"a"}, Devices: []site.Device{{ID: "d", Bus: "b"}}}.Checked()
	if err == nil || err.Error() != `device "d" hangs on bus "b", which there is not` {
		t.Errorf("error = %v", err)
	}
	if _, err := site.Unmarshal([]byte(`{"version": 7}`)); err == nil || err.Error() != "state of the site has version 7, this agent knows 1" {
		t.Errorf("error = %v", err)
	}
}
