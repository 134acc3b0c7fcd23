package rules_test

import (
	"maps"
	"testing"
	"time"

	"pumpside/drivers"
	"pumpside/rules"
	"pumpside/rules/alarm"
	"pumpside/rules/counters"
	"pumpside/rules/service"
)

// settings are those of an invented pump with 20 signals.
func settings(t testing.TB, change func(*rules.Settings)) *rules.Settings {
	t.Helper()
	high, higher := 8.5e6, 9e6
	list := []drivers.Signal{
		drivers.DriveStatus, drivers.DriveFaultCode, drivers.MotorSpeed, drivers.DriveFrequency, drivers.MotorCurrent, drivers.MotorTorque, drivers.MotorPower,
		drivers.DriveRunHours, drivers.SuctionPressure, drivers.DischargePressure, drivers.GlycolFlow, drivers.GlycolVolume, drivers.GlycolTemperature,
		drivers.GlycolLevel, drivers.HydraulicOilTemperature, drivers.OilLevelSwitch, drivers.DiaphragmLeak, drivers.ShaftIndex, drivers.AmbientTemperature, drivers.ContactorPressure,
	}
	set := rules.Settings{
		Pump: "gp-1",
		Counters: counters.Settings{
			Installed: counters.SignalsOf(list...), Ratio: 5, WitnessPower: 300, WitnessFlow: 1.0 / 60e3, RatedSpeed: 1450,
		},
		Limits: []alarm.SignalSettings{{Signal: drivers.DischargePressure, High: &high, HighHigh: &higher}},
		Tasks: []service.Task{{
			Name: alarm.RunInOil, RunTime: 2000 * time.Hour, FirstRunTime: 500 * time.Hour,
			DueSoon: service.DefaultDueSoon, Overdue: service.DefaultOverdue,
		}},
		Judging: rules.Judging{RatedSpeed: 330},
	}
	for _, s := range list {
		set.Signals = append(set.Signals, rules.SignalSettings{Signal: s, StaleAfter: 3 * time.Second})
	}
	if change != nil {
		change(&set)
	}
	checked, err := set.Checked()
	if err != nil {
		t.Fatal(err)
	}
	return checked
}

// nearDue makes the run-in oil change due in ten seconds.
func nearDue(set *rules.Settings) {
	set.Counters.Opening.Run = 499*time.Hour + 59*time.Minute + 50*time.Second
}

// running is what the pump shows while it circulates.
var running = map[drivers.Signal]float64{
	drivers.DriveStatus: float64(drivers.DriveRunning), drivers.MotorSpeed: 1450, drivers.DriveFrequency: 49, drivers.MotorCurrent: 8, drivers.MotorTorque: 20,
	drivers.MotorPower: 3000, drivers.DriveRunHours: 500 * 3600, drivers.SuctionPressure: 30e3, drivers.DischargePressure: 7e6, drivers.GlycolFlow: 20.0 / 60e3,
	drivers.GlycolTemperature: 80, drivers.GlycolLevel: 0.5, drivers.HydraulicOilTemperature: 60, drivers.AmbientTemperature: 20, drivers.ContactorPressure: 6.9e6,
}

// A rig steps one pump, a second at a time.
type rig struct {
	t      testing.TB
	set    *rules.Settings
	state  *rules.State
	at     drivers.Instant
	values map[drivers.Signal]float64
	bad    map[drivers.Signal]drivers.Reason
	events []alarm.Event
}

var noon = time.Date(2026, 3, 1, 12, 0, 0, 0, time.UTC)

func newRig(t testing.TB, change func(*rules.Settings)) *rig {
	set := settings(t, change)
	state, changes := rules.Start(set, nil)
	if len(changes) > 0 {
		t.Fatalf("a new pump starts with %d changes", len(changes))
	}
	r := &rig{
		t: t, set: set, state: state, values: map[drivers.Signal]float64{}, bad: map[drivers.Signal]drivers.Reason{},
		at: drivers.Instant{Wall: noon, Boot: "boot-a", SinceBoot: time.Hour, Synchronized: true},
	}
	maps.Copy(r.values, running)
	return r
}

// saved is the pump's state as the store gives it back.
func (r *rig) saved() *rules.Saved {
	r.t.Helper()
	text, err := r.state.Marshal()
	if err != nil {
		r.t.Fatal(err)
	}
	saved, err := rules.Unmarshal(text)
	if err != nil {
		r.t.Fatal(err)
	}
	return saved
}

// restarted is the same pump after a restart of the agent with other settings.
func (r *rig) restarted(change func(*rules.Settings)) *rig {
	saved := r.saved()
	saved.Ledger = r.state.Ledger
	n := newRig(r.t, change)
	n.state, _ = rules.Start(n.set, saved)
	n.values, n.bad, n.at = maps.Clone(r.values), maps.Clone(r.bad), r.at
	return n
}

func (r *rig) batch() *drivers.Batch {
	b := &drivers.Batch{At: r.at}
	for _, s := range r.set.Signals {
		reading := drivers.Reading{Signal: s.Signal, Value: r.values[s.Signal], Quality: drivers.Good}
		if reason, bad := r.bad[s.Signal]; bad {
			reading.Quality, reading.Reason = drivers.Bad, reason
		}
		b.Readings = append(b.Readings, reading)
	}
	return b
}

func (r *rig) step(commands ...drivers.Command) {
	r.t.Helper()
	b := r.batch()
	b.Commands = commands
	for _, c := range rules.Step(r.set, r.state, b) {
		if c.Event != nil {
			r.events = append(r.events, *c.Event)
		}
	}
	r.at.SinceBoot += time.Second
	r.at.Wall = r.at.Wall.Add(time.Second)
}

// pass steps for a while and gives the events of that time.
func (r *rig) pass(d time.Duration) []alarm.Event {
	from := len(r.events)
	for range int(d / time.Second) {
		r.step()
	}
	return r.events[from:]
}

// names gives kind and alarm of events, records left out.
func names(events []alarm.Event) []string {
	list := []string{}
	for _, e := range events {
		if e.Kind != alarm.Recorded {
			list = append(list, e.Kind.String()+" "+e.Alarm)
		}
	}
	return list
}
