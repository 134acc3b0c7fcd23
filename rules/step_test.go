package rules_test

import (
	"maps"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"pumpside/drivers"
	"pumpside/rules"
	"pumpside/rules/alarm"
	"pumpside/rules/counters"
)

func TestRunInOilFallsDue(t *testing.T) {
	r := newRig(t, nearDue)
	got := r.pass(30 * time.Second)
	want := []string{"raised run_in_oil_change_due", "worsened run_in_oil_change_due"}
	if d := cmp.Diff(want, names(got)); d != "" {
		t.Fatalf("events (-want +got):\n%s", d)
	}
	if e := got[len(got)-1]; e.Value.Value < 1 || e.Limit.Value != 1 || e.PumpRunning != alarm.Yes {
		t.Errorf("due with value %v, limit %v, running %v", e.Value, e.Limit, e.PumpRunning)
	}
	r.step(drivers.Command{ID: "1", User: "a.mechanic", Verb: drivers.RecordService, Task: alarm.RunInOil})
	r.pass(5 * time.Second)
	if v := r.state.Snapshot(r.set).Tasks[0]; v.Life.Used > 0.001 || v.Done.By != "a.mechanic" {
		t.Errorf("after the record: %+v", v)
	}
}

func TestLostFlowIsTold(t *testing.T) {
	r := newRig(t, nil)
	r.pass(3 * time.Minute)
	r.values[drivers.GlycolFlow] = 0
	got := r.pass(100 * time.Second)
	if d := cmp.Diff([]string{"raised no_flow"}, names(got)); d != "" {
		t.Fatalf("events (-want +got):\n%s", d)
	}
	r.values[drivers.GlycolFlow] = running[drivers.GlycolFlow]
	got = r.pass(60 * time.Second)
	if d := cmp.Diff([]string{"cleared no_flow"}, names(got)); d != "" {
		t.Fatalf("events (-want +got):\n%s", d)
	}
}

// Short cycling of the highest limit that configs lets pass is seen.
func TestAsManyStartsAsAreCountedAreShortCycling(t *testing.T) {
	r := newRig(t, func(set *rules.Settings) { set.Judging.StartsPerHour = counters.StartsKept - 1 })
	r.pass(time.Minute)
	for range counters.StartsKept {
		stand(r)
		r.pass(time.Minute)
		start(r)
		r.pass(time.Minute)
	}
	if got := names(r.events); !slices.Contains(got, "raised short_cycling") {
		t.Errorf("after %d starts: %v", counters.StartsKept, got)
	}
}

// The alarm about a meter that was declared to count hours of power stood for ever.
func TestMeterDeclaredToCountPowerIsNoAlarm(t *testing.T) {
	for kind, want := range map[counters.MeterKind]bool{counters.PowerOnHours: false, counters.RunHours: true, counters.KindUnknown: true} {
		r := newRig(t, func(set *rules.Settings) { set.Counters.HourMeter.Kind = kind })
		stand(r)
		for range 4 {
			r.pass(time.Hour)
			r.values[drivers.DriveRunHours] += 3600
		}
		if got := slices.Contains(names(r.events), "raised meter_not_run_hours"); got != want {
			t.Errorf("declared %v: raised %v, want %v", kind, got, want)
		}
	}
}

// No flow says nothing of a pump that stood when its drive was last seen, as when
// it is locked out; it does of one that ran.
func TestLostFlowOfAPumpWhoseDriveIsSilent(t *testing.T) {
	flowless := func(r *rig) { r.values[drivers.GlycolFlow] = 0 }
	reboot := func(r *rig) { r.at.Boot, r.at.SinceBoot, r.at.Synchronized = "boot-b", time.Minute, false }
	tests := []struct {
		name   string
		before []func(*rig) // ten minutes each, then the drive falls silent
		after  func(*rig)   // in the same second
		want   []string
	}{
		{"it stood, and is locked out", []func(*rig){stand, flowless}, func(*rig) {}, []string{}},
		{"it ran, and runs dry", nil, flowless, []string{"raised no_flow"}},
		{"it runs dry, and that is called already", []func(*rig){flowless}, func(*rig) {}, []string{}},
		{"it ran before the power of all was cut", nil, func(r *rig) { flowless(r); reboot(r) }, []string{}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			r := newRig(t, nil)
			r.pass(5 * time.Minute)
			for _, change := range tt.before {
				change(r)
				r.pass(10 * time.Minute)
			}
			r.silence(drivers.DriveStatus, drivers.DriveFaultCode, drivers.MotorSpeed, drivers.DriveFrequency, drivers.MotorCurrent, drivers.MotorTorque, drivers.MotorPower, drivers.DriveRunHours)
			tt.after(r)
			got := slices.DeleteFunc(names(r.pass(5*time.Minute)), func(name string) bool {
				return !strings.HasSuffix(name, " no_flow") || strings.HasPrefix(name, "escalated")
			})
			if d := cmp.Diff(tt.want, got); d != "" {
				t.Errorf("events (-want +got):\n%s", d)
			}
		})
	}
}

func TestBadFlowNeitherRaisesNorClears(t *testing.T) {
	r := newRig(t, nil)
	r.pass(3 * time.Minute)
	r.bad[drivers.GlycolFlow] = drivers.Timeout
	if got := names(r.pass(5 * time.Minute)); len(got) > 0 {
		t.Errorf("a flow nobody can read raises %v", got)
	}
}

func TestFailedToPrime(t *testing.T) {
	r := newRig(t, nil)
	stand(r)
	r.pass(2 * time.Minute)
	start(r)
	r.values[drivers.GlycolFlow] = 0
	got := names(r.pass(2 * time.Minute))
	if d := cmp.Diff([]string{"raised failed_to_prime"}, got); d != "" {
		t.Errorf("events (-want +got):\n%s", d)
	}
}

func stand(r *rig) {
	for _, s := range []drivers.Signal{drivers.MotorSpeed, drivers.DriveFrequency, drivers.MotorCurrent, drivers.MotorPower, drivers.GlycolFlow} {
		r.values[s] = 0
	}
	r.values[drivers.DriveStatus] = float64(drivers.DriveStopped)
}

func start(r *rig) {
	maps.Copy(r.values, running)
}

func TestBackFlowThroughAStoppedPump(t *testing.T) {
	r := newRig(t, nil)
	stand(r)
	r.pass(3 * time.Minute)
	r.values[drivers.SuctionPressure] += 200e3
	got := names(r.pass(2 * time.Minute))
	if d := cmp.Diff([]string{"raised reverse_flow"}, got); d != "" {
		t.Errorf("events (-want +got):\n%s", d)
	}
}

func TestStandardAlarms(t *testing.T) {
	tests := []struct {
		name   string
		change func(r *rig)
		within time.Duration
		want   string
	}{
		{"diaphragm leak", func(r *rig) { r.values[drivers.DiaphragmLeak] = 1 }, 10 * time.Second, "raised diaphragm_leak"},
		{"low oil", func(r *rig) { r.values[drivers.OilLevelSwitch] = 1 }, 70 * time.Second, "raised oil_level_low"},
		{"too fast", func(r *rig) { r.values[drivers.MotorSpeed] = 1700 }, 30 * time.Second, "raised overspeed"},
		{"drive fault", func(r *rig) { stand(r); r.values[drivers.DriveStatus] = float64(drivers.DriveFault) }, 20 * time.Second, "raised drive_fault"},
		{"pressure high", func(r *rig) { r.values[drivers.DischargePressure] = 8.6e6 }, 40 * time.Second, "raised discharge_pressure_high"},
		{"flow failed", func(r *rig) { r.bad[drivers.GlycolFlow] = drivers.LoopFailed }, 80 * time.Second, "raised glycol_flow_bad"},
		{"motor turns, pump does not", func(r *rig) {
			r.values[drivers.MotorPower], r.values[drivers.GlycolFlow] = 100, 0
		}, 90 * time.Second, "raised running_disputed"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			r := newRig(t, nil)
			r.pass(3 * time.Minute)
			tt.change(r)
			got := names(r.pass(tt.within))
			found := false
			for _, name := range got {
				found = found || name == tt.want
			}
			if !found {
				t.Errorf("events %v, want %q among them", got, tt.want)
			}
		})
	}
}

func TestRippleDoesNotTripALimit(t *testing.T) {
	r := newRig(t, nil)
	r.pass(3 * time.Minute)
	from := len(r.events)
	for i := range 300 {
		r.values[drivers.DischargePressure] = 7e6
		if i%3 == 0 {
			r.values[drivers.DischargePressure] = 9.5e6 // every third sample on a crest
		}
		r.step()
	}
	if got := names(r.events[from:]); len(got) > 0 {
		t.Errorf("ripple raises %v", got)
	}
}

func TestCommandsAreCarriedOutOnce(t *testing.T) {
	r := newRig(t, nearDue)
	r.pass(30 * time.Second)
	ack := drivers.Command{ID: "c-1", User: "op", Verb: drivers.Acknowledge, Alarm: "run_in_oil_change_due"}
	from := len(r.events)
	r.step(ack)
	r.step(ack)
	got := r.events[from:]
	if len(got) != 2 || got[0].Kind != alarm.AcknowledgedBy || got[1].Kind != alarm.Refused || got[1].Refusal != "this command was already carried out" {
		t.Errorf("events %v", got)
	}
}

func TestRefusalsGiveTheReason(t *testing.T) {
	tests := []struct {
		command drivers.Command
		want    string
	}{
		{drivers.Command{ID: "1", User: "op", Verb: drivers.RecordService, Task: "gearbox"}, `there is no service task "gearbox" on this pump; it has run_in_oil_change`},
		{drivers.Command{ID: "2", Verb: drivers.RecordService, Task: alarm.RunInOil}, "a service record needs the name of the person who did the work"},
		{drivers.Command{ID: "3", User: "op", Verb: drivers.Reset, Alarm: "no_flow"}, "no_flow does not latch: there is nothing to reset"},
	}
	for _, tt := range tests {
		t.Run(tt.want, func(t *testing.T) {
			r := newRig(t, nil)
			r.step(tt.command)
			if e := r.events[len(r.events)-1]; e.Kind != alarm.Refused || e.Refusal != tt.want || e.CommandID != tt.command.ID {
				t.Errorf("refusal %q of %q, want %q", e.Refusal, e.CommandID, tt.want)
			}
		})
	}
}

func TestSequenceNumbersHaveNoGaps(t *testing.T) {
	r := newRig(t, nil)
	r.pass(time.Minute)
	stand(r)
	r.pass(3 * time.Minute)
	start(r)
	r.pass(time.Minute)
	for i, e := range r.events {
		if e.Seq != uint64(i+1) {
			t.Fatalf("event %d has number %d", i, e.Seq)
		}
	}
	if len(r.events) < 2 {
		t.Errorf("only %d events of a stop and a start", len(r.events))
	}
}

func TestLateReadingsAreDropped(t *testing.T) {
	r := newRig(t, nil)
	r.pass(10 * time.Second)
	before := r.state.Snapshot(r.set)
	late := r.batch()
	late.At.SinceBoot -= 5 * time.Second
	for i := range late.Readings {
		late.Readings[i].Value = 99
	}
	rules.Step(r.set, r.state, late)
	after := r.state.Snapshot(r.set)
	if !reflect.DeepEqual(before.Signals, after.Signals) || before.Totals != after.Totals {
		t.Error("a late batch changed what is known")
	}
}

// TestSavedStateGoesOn splits a life at a save: nothing may be lost or told
// twice.
func TestSavedStateGoesOn(t *testing.T) {
	whole, split := newRig(t, nil), newRig(t, nil)
	live := func(r *rig, save bool) {
		r.pass(time.Minute)
		r.values[drivers.DiaphragmLeak] = 1
		r.pass(time.Minute)
		if save {
			text, err := r.state.Marshal()
			if err != nil {
				t.Fatal(err)
			}
			saved, err := rules.Unmarshal(text)
			if err != nil {
				t.Fatal(err)
			}
			r.state, _ = rules.Start(r.set, saved)
		}
		r.pass(time.Minute)
		r.step(drivers.Command{ID: "x", User: "op", Verb: drivers.Acknowledge, Alarm: "diaphragm_leak"})
		r.pass(time.Minute)
	}
	live(whole, false)
	live(split, true)
	if d := cmp.Diff(names(whole.events), names(split.events)); d != "" {
		t.Errorf("events (-whole +split):\n%s", d)
	}
	a, b := whole.state.Snapshot(whole.set), split.state.Snapshot(split.set)
	if a.Totals != b.Totals {
		t.Errorf("totals %+v, after a save %+v", a.Totals, b.Totals)
	}
}

func TestUnknownAlarmsAndTasksOfAnOldStateAreJournalled(t *testing.T) {
	r := newRig(t, nil)
	r.pass(30 * time.Second)
	text, _ := r.state.Marshal()
	saved, err := rules.Unmarshal(text)
	if err != nil {
		t.Fatal(err)
	}
	set := settings(t, func(s *rules.Settings) { s.Tasks, s.Limits = nil, nil })
	_, changes := rules.Start(set, saved)
	var got []string
	for _, c := range changes {
		got = append(got, c.Event.Text+" "+c.Event.Subject)
	}
	want := []string{
		"alarm_vanished discharge_pressure_high", "alarm_vanished run_in_oil_change_due", "alarm_vanished run_in_oil_change_overdue", "task_vanished run_in_oil_change",
	}
	if d := cmp.Diff(want, got); d != "" {
		t.Errorf("journal (-want +got):\n%s", d)
	}
}

func TestNewerStateIsRefused(t *testing.T) {
	if _, err := rules.Unmarshal([]byte(`{"version": 99}`)); err == nil || err.Error() != "state has version 99, this agent knows 1: use the agent that wrote it, or a newer one" {
		t.Errorf("error = %v", err)
	}
}

func TestStaleValuesAreNotShownAsLive(t *testing.T) {
	r := newRig(t, nil)
	r.pass(10 * time.Second)
	for range 10 {
		r.at.SinceBoot += time.Second
		rules.Step(r.set, r.state, &drivers.Batch{At: r.at})
	}
	for _, v := range r.state.Snapshot(r.set).Signals {
		if v.Quality != drivers.Bad || v.Reason != drivers.Stale {
			t.Errorf("%s is %v (%v) ten seconds after its last reading", v.Name, v.Quality, v.Reason)
		}
	}
}

func TestSteadyStateAllocatesNothing(t *testing.T) {
	for name, change := range map[string]func(*rules.Settings){"plain": nil, "with geometry and suction": triplex} {
		r := newRig(t, change)
		r.pass(5 * time.Minute)
		b := r.batch()
		allocations := testing.AllocsPerRun(2000, func() {
			b.At.SinceBoot += 10 * time.Millisecond
			rules.Step(r.set, r.state, b)
		})
		if allocations > 0 {
			t.Errorf("%s: %v allocations a step", name, allocations)
		}
	}
}

func BenchmarkStep20Readings(b *testing.B) {
	r := newRig(b, nil)
	r.pass(5 * time.Minute)
	batch := r.batch()
	b.ReportAllocs()
	for b.Loop() {
		batch.At.SinceBoot += time.Second
		batch.Readings[9].Value = 7e6 + float64(batch.At.SinceBoot%7)*1e4
		rules.Step(r.set, r.state, batch)
	}
}

// A fast window moves the alarms ten times a second and no more; how its
// batches are split does not matter, and the times of delays are all the same.
func TestFastWindowMovesAlarmsTheSameHoweverItIsSplit(t *testing.T) {
	live := func(split bool) (events []alarm.Event) {
		r := newRig(t, nil)
		step := func(readings ...drivers.Reading) {
			for _, c := range rules.Step(r.set, r.state, &drivers.Batch{At: r.at, Readings: readings}) {
				if c.Event != nil {
					events = append(events, *c.Event)
					events[len(events)-1].DataAge = 0 // the first part of an instant is judged by what was read before it
				}
			}
		}
		r.pass(time.Minute)
		for i := range 6000 { // two minutes at 50 Hz, the pressure too high from the thirtieth second on
			r.at.SinceBoot += 20 * time.Millisecond
			r.at.Wall = r.at.Wall.Add(20 * time.Millisecond)
			p := 7e6
			if i > 1500 {
				p = 8.7e6
			}
			list := []drivers.Reading{{Signal: drivers.DischargePressure, Value: p, Quality: drivers.Good}, {Signal: drivers.SuctionPressure, Value: 30e3, Quality: drivers.Good}}
			if i%50 == 0 {
				for _, one := range r.batch().Readings {
					if one.Signal != drivers.DischargePressure && one.Signal != drivers.SuctionPressure {
						list = append(list, one)
					}
				}
			}
			if !split {
				step(list...)
				continue
			}
			for j := range list { // the last first
				step(list[len(list)-1-j])
			}
		}
		return events
	}
	whole, split := live(false), live(true)
	if d := cmp.Diff(whole, split); d != "" {
		t.Errorf("events (-whole +split):\n%s", d)
	}
	if len(whole) == 0 || whole[0].Alarm != "discharge_pressure_high" {
		t.Errorf("events %v, want the pressure told", names(whole))
	}
}
