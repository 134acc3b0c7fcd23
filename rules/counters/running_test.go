package counters_test

import (
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"pumpside/drivers"
	"pumpside/rules/counters"
)

// times are the totals of time; held back time is in none of them.
type times struct{ Run, Stopped, Unobserved, AtMost time.Duration }

func timesOf(t counters.Totals) times {
	return times{t.Run, t.Stopped, t.Unobserved, t.AtMost}
}

func TestTimeIsRunStoppedOrUnobserved(t *testing.T) {
	powered := with(plain, drivers.MotorPower)
	powered.WitnessPower = 500
	flowing := with(plain, drivers.GlycolFlow)
	flowing.WitnessFlow = 1e-5
	rippling := with(plain, drivers.DischargePressure)
	rippling.WitnessRipple = 100e3
	indexed := with(plain, drivers.ShaftIndex)
	contactor := counters.Settings{Installed: counters.SignalsOf(drivers.ContactorAuxiliary), RatedSpeed: 1450}
	bypassed := with(powered, drivers.BypassContactor)
	switched := with(powered, drivers.ContactorAuxiliary)
	switched.Switched = true
	frequency := counters.Settings{Installed: counters.SignalsOf(drivers.DriveStatus, drivers.DriveFrequency)}
	on, off := good(drivers.ContactorAuxiliary, 1), good(drivers.ContactorAuxiliary, 0)
	past, notPast := good(drivers.BypassContactor, 1), good(drivers.BypassContactor, 0)

	tests := []struct {
		name string
		set  counters.Settings
		do   func(r *rig)
		want times
	}{
		{"the first reading counts nothing", plain, func(r *rig) {
			r.poll(time.Second, driveRuns, rpm(1500))
		}, times{}},
		{"a minute of running, from the first reading to the last", plain, func(r *rig) {
			r.poll(61*time.Second, driveRuns, rpm(1500))
		}, times{Run: time.Minute}},
		{"a second between two readings is what the earlier one said", plain, func(r *rig) {
			r.poll(10*time.Second, driveStops, rpm(0))
			r.poll(10*time.Second, driveRuns, rpm(1500))
			r.poll(10*time.Second, driveStops, rpm(0))
		}, times{Run: 10 * time.Second, Stopped: 19 * time.Second}},
		{"a drive that runs below the threshold of speed is stopped", plain, func(r *rig) {
			r.poll(11*time.Second, driveRuns, rpm(49.9))
		}, times{Stopped: 10 * time.Second}},
		{"at the threshold it runs, and backwards too", plain, func(r *rig) {
			r.poll(11*time.Second, driveRuns, rpm(-50))
		}, times{Run: 10 * time.Second}},
		{"a motor coasting after its drive stopped is stopped", plain, func(r *rig) {
			r.poll(11*time.Second, driveStops, rpm(900))
		}, times{Stopped: 10 * time.Second}},
		{"a faulted drive is stopped", plain, func(r *rig) {
			r.poll(11*time.Second, driveFaults, rpm(0))
		}, times{Stopped: 10 * time.Second}},
		{"a drive in an unknown state tells nothing", plain, func(r *rig) {
			r.poll(11*time.Second, driveRuns, rpm(1500))
			r.poll(20*time.Second, good(drivers.DriveStatus, float64(drivers.DriveUnknown)), rpm(1500))
			r.poll(time.Second, driveRuns, rpm(1500))
		}, times{Run: 20 * time.Second, Unobserved: 11 * time.Second, AtMost: 11 * time.Second}},
		{"speed by frequency: 30 rpm for a hertz is two pole pairs", frequency, func(r *rig) {
			r.poll(11*time.Second, driveRuns, good(drivers.DriveFrequency, 25))
		}, times{Run: 10 * time.Second}},
		{"bad readings within max gap cost nothing", plain, func(r *rig) {
			r.poll(10*time.Second, driveRuns, rpm(1500))
			r.poll(9*time.Second, bad(drivers.DriveStatus), bad(drivers.MotorSpeed))
			r.poll(time.Second, driveRuns, rpm(1500))
		}, times{Run: 19 * time.Second}},
		{"one second more and all of the gap is unobserved", plain, func(r *rig) {
			r.poll(10*time.Second, driveRuns, rpm(1500))
			r.poll(10*time.Second, bad(drivers.DriveStatus), bad(drivers.MotorSpeed))
			r.poll(time.Second, driveRuns, rpm(1500))
		}, times{Run: 9 * time.Second, Unobserved: 11 * time.Second, AtMost: 11 * time.Second}},
		{"a gap that lasts is shown before it ends", plain, func(r *rig) {
			r.poll(10*time.Second, driveRuns, rpm(1500))
			r.wait(time.Hour)
			r.batch()
		}, times{Run: 9 * time.Second, Unobserved: time.Hour + time.Millisecond, AtMost: time.Hour + time.Millisecond}},
		{"status without speed tells nothing when the pump has both", plain, func(r *rig) {
			r.poll(10*time.Second, driveRuns, rpm(1500))
			r.poll(30*time.Second, driveRuns)
			r.poll(2*time.Second, driveRuns, rpm(1500))
		}, times{Run: 20 * time.Second, Unobserved: 21 * time.Second, AtMost: 21 * time.Second}},
		{"uncertain readings do not count", plain, func(r *rig) {
			r.poll(11*time.Second, drivers.Reading{Signal: drivers.DriveStatus, Value: 2, Quality: drivers.Uncertain}, rpm(1500))
		}, times{}},
		{"a contactor's auxiliary will do on a pump without a drive", contactor, func(r *rig) {
			r.poll(11*time.Second, on)
			r.poll(10*time.Second, off)
		}, times{Run: 11 * time.Second, Stopped: 9 * time.Second}},
		{"a drive switched to this motor counts for it", switched, func(r *rig) {
			r.poll(101*time.Second, driveRuns, rpm(1500), watts(3000), on)
		}, times{Run: 100 * time.Second}},
		{"a drive switched to another motor runs nothing here, and its power is no witness", switched, func(r *rig) {
			r.poll(101*time.Second, driveRuns, rpm(1500), watts(3000), off)
		}, times{Stopped: 100 * time.Second}},
		{"nobody knows whose a switched drive is while its contactor cannot be read", switched, func(r *rig) {
			r.poll(11*time.Second, driveRuns, rpm(1500), watts(3000), on)
			r.poll(30*time.Second, driveRuns, rpm(1500), watts(3000), bad(drivers.ContactorAuxiliary))
			r.poll(time.Second, driveRuns, rpm(1500), watts(3000), on)
		}, times{Run: 20 * time.Second, Unobserved: 21 * time.Second, AtMost: 21 * time.Second}},
		{"in bypass the motor runs with its drive stopped and its drive's power at zero", bypassed, func(r *rig) {
			r.poll(101*time.Second, driveStops, rpm(0), watts(0), past)
		}, times{Run: 100 * time.Second}},
		{"not in bypass the drive's word holds", bypassed, func(r *rig) {
			r.poll(11*time.Second, driveStops, rpm(0), watts(0), notPast)
		}, times{Stopped: 10 * time.Second}},
		{"nothing is known of a stopped drive whose bypass cannot be read", bypassed, func(r *rig) {
			r.poll(11*time.Second, driveStops, rpm(0), watts(0), notPast)
			r.poll(30*time.Second, driveStops, rpm(0), watts(0), bad(drivers.BypassContactor))
			r.poll(time.Second, driveStops, rpm(0), watts(0), notPast)
		}, times{Stopped: 20 * time.Second, Unobserved: 21 * time.Second, AtMost: 21 * time.Second}},
		{"power agrees: run", powered, func(r *rig) {
			r.poll(101*time.Second, driveRuns, rpm(1500), watts(500))
		}, times{Run: 100 * time.Second}},
		{"power disagrees for 59 s and then agrees: all of it is credited", powered, func(r *rig) {
			r.poll(60*time.Second, driveRuns, rpm(1500), watts(100))
			r.poll(time.Second, driveRuns, rpm(1500), watts(600))
		}, times{Run: 60 * time.Second}},
		{"while power disagrees, time is held back", powered, func(r *rig) {
			r.poll(60*time.Second, driveRuns, rpm(1500), watts(100))
		}, times{}},
		{"power disagrees for 60 s: all of it becomes unobserved", powered, func(r *rig) {
			r.poll(61*time.Second, driveRuns, rpm(1500), watts(100))
		}, times{Unobserved: time.Minute, AtMost: time.Minute}},
		{"in dispute everything is unobserved, until they agree", powered, func(r *rig) {
			r.poll(101*time.Second, driveRuns, rpm(1500), watts(100))
			r.poll(11*time.Second, driveRuns, rpm(1500), watts(900))
		}, times{Run: 10 * time.Second, Unobserved: 101 * time.Second, AtMost: 101 * time.Second}},
		{"a stopped drive whose motor takes power is disputed too", powered, func(r *rig) {
			r.poll(101*time.Second, driveStops, rpm(0), watts(900))
		}, times{Unobserved: 100 * time.Second, AtMost: 100 * time.Second}},
		{"a drive that gives in before the minute is over is believed for it", powered, func(r *rig) {
			r.poll(31*time.Second, driveRuns, rpm(1500), watts(100))
			r.poll(10*time.Second, driveStops, rpm(0), watts(100))
		}, times{Run: 31 * time.Second, Stopped: 9 * time.Second}},
		{"a witness that is bad is no witness", powered, func(r *rig) {
			r.poll(101*time.Second, driveRuns, rpm(1500), bad(drivers.MotorPower))
		}, times{Run: 100 * time.Second}},
		{"a witness's last word holds for a minute", powered, func(r *rig) {
			r.poll(time.Second, driveRuns, rpm(1500), watts(100))
			r.poll(60*time.Second, driveRuns, rpm(1500))
		}, times{Unobserved: time.Minute, AtMost: time.Minute}},
		{"no flow for 40 s while priming is still running", flowing, func(r *rig) {
			r.poll(10*time.Second, driveStops, rpm(0), good(drivers.GlycolFlow, 0))
			r.poll(40*time.Second, driveRuns, rpm(1500), good(drivers.GlycolFlow, 0))
			r.poll(10*time.Second, driveRuns, rpm(1500), good(drivers.GlycolFlow, 2e-4))
		}, times{Run: 49 * time.Second, Stopped: 10 * time.Second}},
		{"a flow switch is a witness", with(plain, drivers.GlycolFlowSwitch), func(r *rig) {
			r.poll(61*time.Second, driveRuns, rpm(1500), good(drivers.GlycolFlowSwitch, 0))
		}, times{Unobserved: time.Minute, AtMost: time.Minute}},
		{"one witness that agrees is enough", with(powered, drivers.GlycolFlowSwitch), func(r *rig) {
			r.poll(101*time.Second, driveRuns, rpm(1500), good(drivers.GlycolFlowSwitch, 0), watts(900))
		}, times{Run: 100 * time.Second}},
		{"a pressure that swings is a witness", rippling, func(r *rig) {
			for i := range 101 {
				r.poll(time.Second, driveRuns, rpm(1500), good(drivers.DischargePressure, 7e6+float64(i%3)*200e3))
			}
		}, times{Run: 100 * time.Second}},
		{"a pressure without ripple disputes", rippling, func(r *rig) {
			r.poll(101*time.Second, driveRuns, rpm(1500), good(drivers.DischargePressure, 7e6))
		}, times{Run: 7 * time.Second, Unobserved: 93 * time.Second, AtMost: 93 * time.Second}},
		{"trapped pressure that only falls does not dispute a stop", rippling, func(r *rig) {
			for i := range 201 {
				r.poll(time.Second, driveStops, rpm(0), good(drivers.DischargePressure, 7e6-float64(i)*30e3))
			}
		}, times{Stopped: 200 * time.Second}},
		{"index pulses are a witness: a belt that lies beside its pulley disputes", indexed, func(r *rig) {
			r.poll(101*time.Second, driveRuns, rpm(1500), good(drivers.ShaftIndex, 4711))
		}, times{Run: 16 * time.Second, Unobserved: 84 * time.Second, AtMost: 84 * time.Second}},
		{"a late batch is left out", plain, func(r *rig) {
			r.poll(11*time.Second, driveRuns, rpm(1500))
			r.at.SinceBoot -= 5 * time.Second
			r.batch(driveStops, rpm(0))
			r.at.SinceBoot += 5 * time.Second
			r.poll(10*time.Second, driveRuns, rpm(1500))
		}, times{Run: 20 * time.Second}},
		{"readings of other signals and numbers that are none do no harm", plain, func(r *rig) {
			nan := rpm(0)
			nan.Value /= nan.Value
			r.poll(11*time.Second, driveRuns, rpm(1500), nan, good(drivers.GasFlow, 1), good(drivers.Auxiliary(3), 1), watts(4))
		}, times{Run: 10 * time.Second}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			r := newRig(t, tt.set)
			tt.do(r)
			if diff := cmp.Diff(tt.want, timesOf(r.totals())); diff != "" {
				t.Errorf("-want +got\n%s", diff)
			}
		})
	}
}

func TestStartsAndStops(t *testing.T) {
	powered := with(plain, drivers.MotorPower)
	powered.WitnessPower = 500
	tests := []struct {
		name   string
		do     func(r *rig)
		starts uint64
		want   []counters.Kind
	}{
		{"a pump first seen running did not start", func(r *rig) {
			r.poll(10*time.Second, driveRuns, rpm(1500), watts(900))
		}, 0, nil},
		{"stopped, running, stopped", func(r *rig) {
			r.poll(10*time.Second, driveStops, rpm(0), watts(0))
			r.poll(10*time.Second, driveRuns, rpm(1500), watts(900))
			r.poll(10*time.Second, driveStops, rpm(0), watts(0))
		}, 1, []counters.Kind{counters.Started, counters.Stopped}},
		{"stopped before a gap and running after it: one start at least", func(r *rig) {
			r.poll(10*time.Second, driveStops, rpm(0), watts(0))
			r.wait(time.Hour)
			r.poll(10*time.Second, driveRuns, rpm(1500), watts(900))
		}, 1, []counters.Kind{counters.GapUnobserved, counters.Started}},
		{"running before a gap and after it: none that is known", func(r *rig) {
			r.poll(10*time.Second, driveRuns, rpm(1500), watts(900))
			r.wait(30 * time.Second)
			r.poll(10*time.Second, driveRuns, rpm(1500), watts(900))
		}, 0, nil},
		{"a start counts once a witness agrees, and is dated back", func(r *rig) {
			r.poll(10*time.Second, driveStops, rpm(0), watts(0))
			r.poll(20*time.Second, driveRuns, rpm(1500), watts(0))
			r.poll(10*time.Second, driveRuns, rpm(1500), watts(900))
		}, 1, []counters.Kind{counters.Started}},
		{"a drive that only says so did not start the pump", func(r *rig) {
			r.poll(10*time.Second, driveStops, rpm(0), watts(0))
			r.poll(20*time.Second, driveRuns, rpm(1500), watts(0))
			r.poll(10*time.Second, driveStops, rpm(0), watts(0))
		}, 0, nil},
		{"a dispute in the middle is no stop", func(r *rig) {
			r.poll(10*time.Second, driveRuns, rpm(1500), watts(900))
			r.poll(90*time.Second, driveRuns, rpm(1500), watts(0))
			r.poll(10*time.Second, driveRuns, rpm(1500), watts(900))
		}, 0, []counters.Kind{counters.Disputed, counters.Resolved}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			r := newRig(t, powered)
			tt.do(r)
			if got := r.totals().Starts; got != tt.starts {
				t.Errorf("starts = %d, want %d", got, tt.starts)
			}
			if diff := cmp.Diff(tt.want, r.kinds()); diff != "" {
				t.Errorf("events -want +got\n%s", diff)
			}
		})
	}
}

func TestEventsCarryHowLongItWas(t *testing.T) {
	powered := with(plain, drivers.MotorPower)
	powered.WitnessPower = 500
	r := newRig(t, powered)
	r.poll(10*time.Second, driveRuns, rpm(1500), watts(900))
	r.poll(30*time.Second, driveStops, rpm(0), watts(0))
	r.poll(100*time.Second, driveRuns, rpm(1500), watts(900))
	r.poll(150*time.Second, driveRuns, rpm(1500), watts(0))
	r.poll(100*time.Second, driveRuns, rpm(1500), watts(900))
	r.poll(30*time.Second, driveStops, rpm(0), watts(0))
	r.totals()
	type brief struct {
		Kind counters.Kind
		For  time.Duration
	}
	var got []brief
	for _, e := range r.events {
		got = append(got, brief{e.Kind, e.For})
	}
	want := []brief{
		{counters.Stopped, 0}, // how long it had run before is not known
		{counters.Started, 30 * time.Second},
		{counters.Disputed, 60 * time.Second},
		{counters.Resolved, 90 * time.Second},
		{counters.Stopped, 350 * time.Second},
	}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("-want +got\n%s", diff)
	}
	if at := r.events[0].At; at.Boot != bootA || at.SinceBoot != time.Hour+11*time.Second || !at.Wall.Equal(noon.Add(11*time.Second)) || !at.Synchronized {
		t.Errorf("the stop is at %+v", at)
	}
}
