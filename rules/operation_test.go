package rules_test

import (
	"slices"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"pumpside/drivers"
	"pumpside/rules"
	"pumpside/rules/alarm"
)

// wired adds the signals that tell whether a pump should run.
func wired(signals ...drivers.Signal) func(*rules.Settings) {
	return func(set *rules.Settings) {
		for _, s := range signals {
			set.Signals = append(set.Signals, rules.SignalSettings{Signal: s, StaleAfter: 3 * time.Second})
		}
	}
}

// asked is a pump that all four signals let run.
func asked(t *testing.T) *rig {
	r := newRig(t, wired(drivers.RunDemand, drivers.Permissive, drivers.Selector, drivers.ControlPower))
	r.values[drivers.RunDemand], r.values[drivers.Permissive], r.values[drivers.Selector], r.values[drivers.ControlPower] = 1, 1, 2, 1
	return r
}

func (r *rig) operation() rules.Operation { return r.state.Snapshot(r.set).Operation }

func TestOnWhoseAccountAPumpStands(t *testing.T) {
	tests := []struct {
		name   string
		change func(r *rig)
		mode   rules.Mode
		spare  alarm.Known // available
		want   []string    // within three minutes
	}{
		{"it runs", func(*rig) {}, rules.Running, alarm.Yes, []string{}},
		{"it runs in hand", func(r *rig) { r.values[drivers.Selector] = 1 }, rules.RunningInHand, alarm.Yes, []string{}},
		{"it runs although nobody asks", func(r *rig) { r.values[drivers.RunDemand] = 0 }, rules.RunningUnasked, alarm.Yes, []string{}},
		{"stopped on demand", func(r *rig) { stand(r); r.values[drivers.RunDemand] = 0 }, rules.NotDemanded, alarm.Yes, []string{}},
		{"stopped on demand and not permitted", func(r *rig) {
			stand(r)
			r.values[drivers.RunDemand], r.values[drivers.Permissive] = 0, 0
		}, rules.NotDemanded, alarm.No, []string{}},
		{"stopped by the permissive", func(r *rig) { stand(r); r.values[drivers.Permissive] = 0 }, rules.NotPermitted, alarm.No, []string{"raised stopped_by_permissive"}},
		{"stopped by the selector", func(r *rig) { stand(r); r.values[drivers.Selector] = 0 }, rules.SwitchedOff, alarm.No, []string{}},
		{"stopped in hand", func(r *rig) { stand(r); r.values[drivers.Selector] = 1 }, rules.StandingInHand, alarm.No, []string{}},
		{"stopped by a fault", func(r *rig) { stand(r); r.values[drivers.DriveStatus] = float64(drivers.DriveFault) }, rules.Faulted, alarm.No, []string{"raised drive_fault"}},
		{"stopped without a reason", stand, rules.Unexplained, alarm.No, []string{"raised stopped_unexplained"}},
		{"stopped without power: one message", func(r *rig) {
			stand(r)
			r.values[drivers.DriveStatus], r.values[drivers.ControlPower] = float64(drivers.DriveFault), 0
		}, rules.WithoutPower, alarm.No, []string{"raised power_lost", "raised drive_fault"}}, // the second calls nobody: see below
		{"stopped, and the demand cannot be read", func(r *rig) { stand(r); r.bad[drivers.RunDemand] = drivers.Timeout }, rules.StoppedNotKnown, alarm.Yes, []string{}},
		{"nobody knows whether it runs", func(r *rig) {
			for _, s := range r.set.Signals {
				r.bad[s.Signal] = drivers.Timeout
			}
		}, rules.ModeUnknown, alarm.Unknown, nil},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			r := asked(t)
			r.pass(3 * time.Minute)
			tt.change(r)
			events := r.pass(3 * time.Minute)
			if o := r.operation(); o.Mode != tt.mode || o.Available != tt.spare {
				t.Errorf("mode %v, available %v; want %v, %v", o.Mode, o.Available, tt.mode, tt.spare)
			}
			if tt.want == nil {
				return
			}
			got := names(events)
			slices.Sort(got)
			slices.Sort(tt.want)
			if d := cmp.Diff(tt.want, got); d != "" {
				t.Errorf("events (-want +got):\n%s", d)
			}
			calls := 0
			for _, e := range events {
				if e.Notify == alarm.Now {
					calls++
				}
			}
			if len(tt.want) > 1 && calls != 1 {
				t.Errorf("%d messages call somebody, want one", calls)
			}
		})
	}
}

func TestPowerThatWasLostStaysLostUntilItIsSeen(t *testing.T) {
	r := asked(t)
	r.pass(time.Minute)
	stand(r)
	r.values[drivers.ControlPower] = 0
	r.pass(time.Minute)
	r.bad[drivers.ControlPower] = drivers.Timeout // what tells has no power either
	r.pass(time.Minute)
	if o := r.operation(); o.Power != alarm.No {
		t.Errorf("power %v while what tells of it is silent", o.Power)
	}
	delete(r.bad, drivers.ControlPower)
	r.values[drivers.ControlPower] = 1
	r.pass(time.Minute)
	if o := r.operation(); o.Power != alarm.Yes {
		t.Errorf("power %v after it came back", o.Power)
	}
}

// The module that told of the loss died with it, and the power came back: a
// fault of the drive, a day later, called nobody.
func TestPumpThatRunsOnEndsALossOfPowerWhoseSignalDied(t *testing.T) {
	powered := wired(drivers.ControlPower)
	dead := func(r *rig) *rig { r.bad[drivers.ControlPower] = drivers.NeverRead; return r }
	tests := []struct {
		name     string
		returned func(*rig) *rig // what became of the signal
		runs     time.Duration
		calls    bool
	}{
		{"its module is dead", dead, 30 * time.Minute, true},
		{"it reads lost for ever", func(r *rig) *rig { return r }, 0, false}, // nothing belies it
		{"it was taken out of the configuration", func(r *rig) *rig { return r.restarted(nil) }, 0, true},
		{"the drive has not been seen to stop yet", dead, 5 * time.Second, false},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			r := newRig(t, powered)
			r.values[drivers.ControlPower] = 1
			r.pass(5 * time.Minute)
			stand(r)
			r.values[drivers.ControlPower] = 0
			r.pass(3 * time.Minute)
			if tt.runs > 0 {
				start(r)
			}
			r = tt.returned(r)
			r.pass(tt.runs)
			if tt.runs > time.Minute && !slices.Contains(names(r.events), "cleared power_lost") {
				t.Errorf("power is still lost: %v", names(r.events))
			}
			stand(r)
			r.values[drivers.DriveStatus] = float64(drivers.DriveFault)
			called := false
			for _, e := range r.pass(3 * time.Minute) {
				called = called || e.Alarm == "drive_fault" && e.Notify == alarm.Now
			}
			if called != tt.calls {
				t.Errorf("the drive's fault calls: %v; power %v, mode %v", called, r.operation().Power, r.operation().Mode)
			}
		})
	}
}

// A pump that runs belies a contact that reads lost, and is no dark pump to its group.
func TestPumpThatRunsWhileItsPowerReadsLostIsNotDark(t *testing.T) {
	r := newRig(t, wired(drivers.ControlPower))
	r.pass(5 * time.Second)
	if o := r.operation(); o.Power != alarm.No {
		t.Errorf("at first power %v", o.Power)
	}
	r.pass(2 * time.Minute)
	if o := r.operation(); o.Power != alarm.Unknown {
		t.Errorf("after two minutes of running power %v", o.Power)
	}
	stand(r)
	r.pass(time.Minute)
	if o := r.operation(); o.Power != alarm.No || o.Mode != rules.WithoutPower {
		t.Errorf("stopped: power %v, mode %v", o.Power, o.Mode)
	}
}

// A meter that still shows flow is a witness of a pump whose drive is not read; one
// that is not read takes nothing from a drive that is.
func TestWhatIsStillReadIsAWitness(t *testing.T) {
	drive := []drivers.Signal{drivers.DriveStatus, drivers.MotorSpeed, drivers.MotorPower}
	meter := []drivers.Signal{drivers.GlycolFlow, drivers.GlycolVolume}
	tests := []struct {
		name                string
		silent              []drivers.Signal
		running, delivering alarm.Known
	}{
		{"all is read", nil, alarm.Yes, alarm.Yes},
		{"the drive is not", drive, alarm.Unknown, alarm.Yes},
		{"the meter is not", meter, alarm.Yes, alarm.Unknown},
		{"nothing is", append(meter, drive...), alarm.Unknown, alarm.Unknown},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			r := asked(t)
			r.pass(3 * time.Minute)
			r.silence(tt.silent...)
			r.pass(3 * time.Minute)
			if o := r.operation(); o.Running != tt.running || o.Delivering != tt.delivering {
				t.Errorf("running %v, delivering %v; want %v, %v", o.Running, o.Delivering, tt.running, tt.delivering)
			}
		})
	}
}

func (r *rig) silence(list ...drivers.Signal) {
	for _, s := range list {
		r.bad[s] = drivers.Timeout
	}
}

func TestSelectorLeftInHandIsAnAdvisory(t *testing.T) {
	r := asked(t)
	r.pass(time.Minute)
	r.values[drivers.Selector] = 1
	if got := names(r.pass(59 * time.Minute)); len(got) > 0 {
		t.Errorf("within the hour: %v", got)
	}
	if d := cmp.Diff([]string{"raised selector_not_auto"}, names(r.pass(2*time.Minute))); d != "" {
		t.Errorf("events (-want +got):\n%s", d)
	}
}

func TestDriveThatRestartsByItselfIsCounted(t *testing.T) {
	r := asked(t)
	r.pass(time.Minute)
	var got []string
	for range 3 {
		stand(r)
		r.values[drivers.DriveStatus] = float64(drivers.DriveFault)
		got = append(got, names(r.pass(90*time.Second))...)
		start(r)
		got = append(got, names(r.pass(10*time.Minute))...)
	}
	if n := r.operation().Restarts; n != 3 {
		t.Errorf("%d restarts", n)
	}
	if !slices.Contains(got, "raised drive_restarts") {
		t.Errorf("no advisory in %v", got)
	}
	stand(r)
	r.values[drivers.DriveStatus] = float64(drivers.DriveFault)
	r.pass(10 * time.Minute) // somebody comes and resets it
	start(r)
	r.pass(time.Minute)
	if n := r.operation().Restarts; n != 3 {
		t.Errorf("%d restarts: one that took ten minutes was a person's", n)
	}
}

func TestWithoutASignalTheHabitTells(t *testing.T) {
	r := newRig(t, nil)
	r.step()
	if o := r.operation(); o.WantedBy != rules.WantedUnknown {
		t.Errorf("at first wanted by %q", o.WantedBy)
	}
	for range 9 {
		start(r)
		r.pass(15 * time.Minute)
		stand(r)
		r.pass(12 * time.Minute)
	}
	if o := r.operation(); o.Mode != rules.Resting || o.WantedBy != rules.WantedByHabit {
		t.Errorf("a usual pause: %+v", o)
	}
	got := names(r.pass(30 * time.Minute))
	if d := cmp.Diff([]string{"raised stopped_longer_than_usual"}, got); d != "" {
		t.Errorf("events (-want +got):\n%s", d)
	}
	if o := r.operation(); o.Mode != rules.StandingTooLong || o.Wanted != alarm.Yes {
		t.Errorf("an unusual pause: %+v", o)
	}
}

// grouped is a pump whose flow meter is on the header that it shares.
func grouped(t *testing.T) *rig {
	return newRig(t, func(set *rules.Settings) {
		for i := range set.Signals {
			if set.Signals[i].Signal == drivers.GlycolFlow {
				set.Signals[i].Shared = true
			}
		}
		set.Counters.WitnessFlow = 0
		set.Standing.InGroup = true
	})
}

func (r *rig) told(g drivers.Group, d time.Duration) []alarm.Event {
	from := len(r.events)
	for range int(d / time.Second) {
		b := r.batch()
		b.Group = g
		for _, c := range rules.Step(r.set, r.state, b) {
			if c.Event != nil {
				r.events = append(r.events, *c.Event)
			}
		}
		r.at.SinceBoot += time.Second
		r.at.Wall = r.at.Wall.Add(time.Second)
	}
	return r.events[from:]
}

func TestSharedMeterSpeaksForAPumpOnlyWhileItRunsAlone(t *testing.T) {
	r := grouped(t)
	beside := drivers.Group{Told: true, Others: 1, Running: 1, Required: 1, Standby: drivers.StandbyRunning}
	alone := drivers.Group{Told: true, Others: 1, Required: 1, Standby: drivers.StandbyAvailable}
	r.told(beside, 3*time.Minute)
	r.values[drivers.GlycolFlow] = 0
	if got := names(r.told(beside, 5*time.Minute)); len(got) > 0 {
		t.Errorf("with another pump running: %v", got)
	}
	got := r.told(alone, 3*time.Minute)
	if d := cmp.Diff([]string{"raised no_flow"}, names(got)); d != "" {
		t.Fatalf("alone (-want +got):\n%s", d)
	}
	if e := got[len(got)-1]; e.Standby != "available" || e.Notify != alarm.Now || e.TimeToRespond != 30*time.Minute {
		t.Errorf("standby %q, notify %v, within %v", e.Standby, e.Notify, e.TimeToRespond)
	}
}

func TestStandbyIsWantedByItsGroup(t *testing.T) {
	r := grouped(t)
	stand(r)
	r.told(drivers.Group{Told: true, Others: 1, Running: 1, Required: 1, Standby: drivers.StandbyRunning}, time.Minute)
	if o := r.operation(); o.Mode != rules.StandingBy || o.Available != alarm.Yes || o.WantedBy != rules.WantedByGroup {
		t.Errorf("beside one that runs: %+v", o)
	}
	r.pass(2 * time.Minute) // the site says no more
	if o := r.operation(); o.Mode != rules.StoppedNotKnown || o.WantedBy != rules.WantedUnknown {
		t.Errorf("with no news of the group: %+v", o)
	}
}

func TestPressureThatFallsAfterAStopIsMeasured(t *testing.T) {
	r := newRig(t, nil)
	r.pass(2 * time.Minute)
	for range 3 {
		stand(r)
		r.values[drivers.DischargePressure] = 7e6
		r.pass(10 * time.Second)
		for range 70 { // 1 % of what is left a second: 1 − 0.99⁶⁰ = 45 % a minute
			r.values[drivers.DischargePressure] = 30e3 + 0.99*(r.values[drivers.DischargePressure]-30e3)
			r.step()
		}
		start(r)
		r.pass(2 * time.Minute)
	}
	v := r.state.Snapshot(r.set).LeakDown
	if v == nil || v.Stops != 3 || v.Usual < 0.40 || v.Usual > 0.46 {
		t.Errorf("leak-down %+v", v)
	}
}
