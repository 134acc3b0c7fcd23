package counters_test

import (
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"pumpside/drivers"
	"pumpside/rules/counters"
)

func TestStatus(t *testing.T) {
	powered := with(plain, drivers.MotorPower)
	powered.WitnessPower = 500
	tests := []struct {
		name string
		do   func(r *rig)
		want counters.Status
	}{
		{"nothing read yet", func(r *rig) { r.batch() }, counters.Status{}},
		{"running since it was first seen, which is not when it started", func(r *rig) {
			r.poll(11*time.Second, driveRuns, rpm(1500), watts(900))
		}, counters.Status{Running: counters.Yes, Drive: counters.Yes, For: 10 * time.Second, ShaftSpeed: 300, SpeedKnown: true, ByMotor: 300}},
		{"started ten seconds ago", func(r *rig) {
			r.poll(11*time.Second, driveStops, rpm(0), watts(0))
			r.poll(11*time.Second, driveRuns, rpm(1500), watts(900))
		}, counters.Status{Running: counters.Yes, Drive: counters.Yes, For: 10 * time.Second, Exact: true, StartsLastHour: 1, ShaftSpeed: 300, SpeedKnown: true, ByMotor: 300}},
		{"stopped, and known to stand", func(r *rig) {
			r.poll(11*time.Second, driveRuns, rpm(1500), watts(900))
			r.poll(11*time.Second, driveStops, rpm(0), watts(0))
		}, counters.Status{Running: counters.No, Drive: counters.No, For: 10 * time.Second, Exact: true, SpeedKnown: true}},
		{"doubted for half a minute: the drive's word still holds", func(r *rig) {
			r.poll(11*time.Second, driveStops, rpm(0), watts(0))
			r.poll(31*time.Second, driveRuns, rpm(1500), watts(0))
		}, counters.Status{Running: counters.Yes, Drive: counters.Yes, Doubted: true, For: 30 * time.Second, Exact: true, ShaftSpeed: 300, SpeedKnown: true, ByMotor: 300}},
		{"disputed: the drive says so, but who knows", func(r *rig) {
			r.poll(11*time.Second, driveStops, rpm(0), watts(0))
			r.poll(71*time.Second, driveRuns, rpm(1500), watts(0))
		}, counters.Status{Drive: counters.Yes, Doubted: true, Disputed: true}},
		{"no reading for longer than max gap", func(r *rig) {
			r.poll(11*time.Second, driveRuns, rpm(1500), watts(900))
			r.wait(20 * time.Second)
			r.batch()
		}, counters.Status{}},
		{"after a gap running goes on from before, as far as was seen", func(r *rig) {
			r.poll(11*time.Second, driveStops, rpm(0), watts(0))
			r.poll(11*time.Second, driveRuns, rpm(1500), watts(900))
			r.wait(19 * time.Second)
			r.poll(time.Second, driveRuns, rpm(1500), watts(900))
		}, counters.Status{Running: counters.Yes, Drive: counters.Yes, For: 30 * time.Second, StartsLastHour: 1, ShaftSpeed: 300, SpeedKnown: true, ByMotor: 300}},
		{"eight starts in the last hour, none older", func(r *rig) {
			for range 12 { // one in 450 s
				r.poll(225*time.Second, driveStops, rpm(0), watts(0))
				r.poll(225*time.Second, driveRuns, rpm(1500), watts(900))
			}
		}, counters.Status{Running: counters.Yes, Drive: counters.Yes, For: 224 * time.Second, Exact: true, StartsLastHour: 8, ShaftSpeed: 300, SpeedKnown: true, ByMotor: 300}},
		{"sixteen stands for more", func(r *rig) {
			for range 40 {
				r.poll(30*time.Second, driveStops, rpm(0), watts(0))
				r.poll(30*time.Second, driveRuns, rpm(1500), watts(900))
			}
		}, counters.Status{Running: counters.Yes, Drive: counters.Yes, For: 29 * time.Second, Exact: true, StartsLastHour: 16, ShaftSpeed: 300, SpeedKnown: true, ByMotor: 300}},
		{"starts before a reboot are as old as the clocks say", func(r *rig) {
			r.poll(10*time.Second, driveStops, rpm(0), watts(0))
			r.poll(10*time.Second, driveRuns, rpm(1500), watts(900))
			r.reboot(59*time.Minute+51*time.Second, true)
			r.batch(driveRuns, rpm(1500), watts(900))
		}, counters.Status{Running: counters.Yes, Drive: counters.Yes, For: time.Hour, StartsLastHour: 0, ShaftSpeed: 300, SpeedKnown: true, ByMotor: 300}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			r := newRig(t, powered)
			tt.do(r)
			end := r.at
			end.SinceBoot += time.Millisecond
			counters.Step(&r.set, &r.s, &drivers.Batch{At: end}, nil)
			got := r.s.Status(&r.set)
			if got.For > 0 {
				got.For -= time.Millisecond // what end added
			}
			if diff := cmp.Diff(tt.want, got); diff != "" {
				t.Errorf("-want +got\n%s", diff)
			}
		})
	}
}

func TestShaftSpeedByIndex(t *testing.T) {
	r := newRig(t, indexed(16))
	turning(r, 0, 60*time.Second)
	if got := r.s.Status(&r.set).ShaftSpeed; got < 299 || got > 301 {
		t.Errorf("five pulses a second are %v rpm, want 300", got)
	}
	if got := r.s.Status(&r.set).ByMotor; got != 300 {
		t.Errorf("by the motor %v rpm, want 300", got)
	}
}

func TestOpeningIsAddedAndNeverStored(t *testing.T) {
	set := plain
	set.Opening = counters.Opening{Run: 496 * time.Hour, Revolutions: 8.9e6, Starts: 12, Pumped: 300, Energy: 1e9}
	r := newRig(t, set)
	r.poll(61*time.Second, driveRuns, rpm(1500))
	got := r.totals()
	if got.Run != 496*time.Hour+time.Minute || got.Revolutions != 8.9e6+300 || got.Starts != 12 || got.Pumped != 300 || got.Energy != 1e9 {
		t.Errorf("totals %+v", got)
	}
	if r.s.Counted.Run != time.Minute {
		t.Errorf("the state holds %v", r.s.Counted.Run)
	}
}

func TestSettingsSayEverythingThatIsWrong(t *testing.T) {
	tests := []struct {
		name string
		set  counters.Settings
		want string
	}{
		{"nothing tells whether it runs", counters.Settings{Installed: counters.SignalsOf(drivers.GlycolFlow), RatedSpeed: 1500}, "no signal tells whether the motor runs; one of drive_status, motor_speed, drive_frequency, contactor_auxiliary is needed"},
		{"no speed at all", counters.Settings{Installed: counters.SignalsOf(drivers.DriveStatus)}, "rated motor speed is needed where no speed is measured and where a contactor runs the motor past its drive"},
		{"two at once", counters.Settings{Installed: plain.Installed, Ratio: -3, Index: counters.Index{Bits: 64}}, "ratio is -3 motor revolutions for one of the pump, must be above 0\nindex register has 64 bits, 48 at most"},
		{"a gap longer than a dispute", counters.Settings{Installed: plain.Installed, MaxGap: 2 * time.Minute}, "max gap is 2m0s, must be above 0 and no longer than the 1m0s after which running is disputed"},
		{"a meter of milliseconds", counters.Settings{Installed: plain.Installed, HourMeter: counters.HourMeter{Resolution: time.Millisecond}}, "hour meter resolution is 1ms, must be 1 s or more"},
		{"nothing", plain, ""},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			_, err := tt.set.Checked()
			got := ""
			if err != nil {
				got = err.Error()
			}
			if diff := cmp.Diff(tt.want, got); diff != "" {
				t.Errorf("-want +got\n%s", diff)
			}
		})
	}
}
