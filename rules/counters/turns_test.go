package counters_test

import (
	"math"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"pumpside/drivers"
	"pumpside/rules/counters"
)

func pulses(n float64) drivers.Reading { return good(drivers.ShaftIndex, n) }

// An indexed pump turns at 300 rpm: five pulses a second.
func indexed(bits uint) counters.Settings {
	set := with(plain, drivers.ShaftIndex)
	set.Index = counters.Index{PulsesPerRevolution: 1, Bits: bits}
	return set
}

// turning polls every second while the shaft turns at 300 rpm, and returns
// what the index shows then.
func turning(r *rig, from float64, d time.Duration) float64 {
	for range d / time.Second {
		from = math.Mod(from+5, 65536)
		r.poll(time.Second, driveRuns, rpm(1500), pulses(from))
	}
	return from
}

func TestRevolutions(t *testing.T) {
	fixed := counters.Settings{Installed: counters.SignalsOf(drivers.ContactorAuxiliary), RatedSpeed: 1500, Ratio: 5}
	powered := with(plain, drivers.MotorPower)
	powered.WitnessPower = 500
	tests := []struct {
		name string
		set  counters.Settings
		do   func(r *rig)
		want float64
		kind []counters.Kind // of the events
	}{
		{"1500 rpm over ratio 5 for a minute are 300 revolutions", plain, func(r *rig) {
			r.poll(61*time.Second, driveRuns, rpm(1500))
		}, 300, nil},
		{"a reversed motor turns the pump all the same", plain, func(r *rig) {
			r.poll(61*time.Second, driveRuns, rpm(-1500))
		}, 300, nil},
		{"between two speeds the mean of both", plain, func(r *rig) {
			r.poll(time.Second, driveRuns, rpm(600))
			r.poll(time.Second, driveRuns, rpm(1200))
		}, 900.0 / 60 / 5, nil},
		{"a motor at rest does not turn by the noise of its estimate", plain, func(r *rig) {
			r.poll(time.Hour, driveStops, rpm(3))
		}, 0, nil},
		{"a contactor's motor turns at its rated speed", fixed, func(r *rig) {
			r.poll(61*time.Second, good(drivers.ContactorAuxiliary, 1))
		}, 300, nil},
		{"revolutions are held back with the time and come with it", powered, func(r *rig) {
			r.poll(50*time.Second, driveRuns, rpm(1500), watts(0))
			r.poll(11*time.Second, driveRuns, rpm(1500), watts(900))
		}, 300, nil},
		{"or go with it", powered, func(r *rig) {
			r.poll(70*time.Second, driveRuns, rpm(1500), watts(0))
			r.poll(11*time.Second, driveRuns, rpm(1500), watts(900))
		}, 50, []counters.Kind{counters.Disputed, counters.Resolved}},
		{"the index counts, not the speed", indexed(16), func(r *rig) {
			r.poll(time.Second, driveRuns, rpm(1500), pulses(100))
			r.poll(time.Second, driveRuns, rpm(1500), pulses(104))
		}, 4, nil},
		{"pulses of three targets on the shaft", counters.Settings{
			Installed: plain.Installed | counters.SignalsOf(drivers.ShaftIndex), RatedSpeed: 1500, Ratio: 5,
			Index: counters.Index{PulsesPerRevolution: 3},
		}, func(r *rig) {
			r.poll(time.Second, driveRuns, rpm(1500), pulses(100))
			r.poll(time.Second, driveRuns, rpm(1500), pulses(115))
		}, 5, nil},
		{"a register of 16 bits rolls over", indexed(16), func(r *rig) {
			turning(r, 65530, 10*time.Second)
		}, 45, []counters.Kind{counters.MeterRolledOver}},
		{"a register of 32 bits rolls over", indexed(32), func(r *rig) {
			r.poll(time.Second, driveRuns, rpm(1500), pulses(4294967293))
			r.poll(time.Second, driveRuns, rpm(1500), pulses(2))
		}, 5, []counters.Kind{counters.MeterRolledOver}},
		{"a gap costs no revolutions", indexed(16), func(r *rig) {
			n := turning(r, 0, 11*time.Second)
			r.wait(time.Hour)
			turning(r, n+18000, time.Second)
		}, 50 + 18005, []counters.Kind{counters.GapUnobserved}},
		{"unless it may have rolled over more than once", indexed(16), func(r *rig) {
			n := turning(r, 0, 11*time.Second)
			r.wait(4 * time.Hour)
			turning(r, math.Mod(n+72000, 65536), 11*time.Second)
		}, 50 + 50, []counters.Kind{counters.GapUnobserved, counters.MeterAmbiguous}},
		{"a counter that was reset is made up for by the speed", indexed(16), func(r *rig) {
			turning(r, 40000, 11*time.Second)
			turning(r, 0, 11*time.Second)
		}, 50 + 5 + 50, []counters.Kind{counters.MeterReplaced}},
		{"while the index cannot be read the speed counts, and the index has the last word", indexed(16), func(r *rig) {
			n := turning(r, 0, 11*time.Second)
			r.poll(100*time.Second, driveRuns, rpm(1500), bad(drivers.ShaftIndex))
			turning(r, n+480, 11*time.Second) // five percent less than by speed
		}, 50 + 480 + 55, []counters.Kind{counters.IndexDisagrees}},
		{"what was counted by speed is never taken back", indexed(16), func(r *rig) {
			n := turning(r, 0, 11*time.Second)
			r.poll(100*time.Second, driveRuns, rpm(1500), bad(drivers.ShaftIndex))
			r.poll(time.Second, driveRuns, rpm(1500), pulses(n+400))
			r.poll(time.Second, driveRuns, rpm(1500), pulses(n+405))
		}, 50 + 505, nil},
		{"an hour meter on a motor without speed control says the revolutions too", counters.Settings{
			Installed: counters.SignalsOf(drivers.ContactorAuxiliary, drivers.DriveRunHours), RatedSpeed: 1500, Ratio: 5,
			HourMeter: counters.HourMeter{Resolution: time.Second, Kind: counters.RunHours},
		}, func(r *rig) {
			on := good(drivers.ContactorAuxiliary, 1)
			r.poll(time.Second, on, good(drivers.DriveRunHours, 1000))
			r.wait(99 * time.Second)
			r.poll(time.Second, on, good(drivers.DriveRunHours, 1100))
		}, 99 * 5, []counters.Kind{counters.GapUnobserved, counters.GapClosed}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			r := newRig(t, tt.set)
			tt.do(r)
			got := r.totals()
			if math.Abs(got.Revolutions-tt.want) > 1e-9 {
				t.Errorf("revolutions = %.9g, want %.9g", got.Revolutions, tt.want)
			}
			if got.StrokesPerPlunger != got.Revolutions || got.DischargeStrokes != 3*got.Revolutions {
				t.Errorf("%v revolutions of a triplex are %v strokes per plunger and %v discharge strokes", got.Revolutions, got.StrokesPerPlunger, got.DischargeStrokes)
			}
			if diff := cmp.Diff(tt.kind, r.kinds()); diff != "" {
				t.Errorf("events -want +got\n%s", diff)
			}
		})
	}
}

func TestIndexBoundsAnUnobservedGapFromBelow(t *testing.T) {
	set := indexed(32)
	set.MaxPumpSpeed = 600
	r := newRig(t, set)
	n := turning(r, 0, 11*time.Second)
	r.wait(time.Hour)
	turning(r, n+18000, time.Second)
	// 18005 revolutions in the gap, two of them in doubt, 5 of them after its
	// last second by speed: not yet counted by speed, as the gap has none.
	// At 600 rpm they took half an hour.
	got := r.totals()
	if want := 1800*time.Second + 300*time.Millisecond; got.AtLeast != want {
		t.Errorf("at least %v of %v, want %v", got.AtLeast, got.Unobserved, want)
	}
}

func TestIndexIsHeldAgainstTheMotorsSpeed(t *testing.T) {
	r := newRig(t, indexed(16))
	n := turning(r, 0, 130*time.Second) // 645 revolutions: they agree, nothing to tell
	if len(r.events) != 0 {
		t.Fatalf("events %v", r.events)
	}
	slipping := func(d time.Duration, each float64) {
		for range d / time.Second {
			n += each
			r.poll(time.Second, driveRuns, rpm(1500), pulses(n))
		}
	}
	slipping(150*time.Second, 4) // the belt slips by a fifth
	if !r.s.Status(&r.set).IndexDisagrees {
		t.Error("a fifth less by the index, and they still agree")
	}
	slipping(400*time.Second, 5)
	if diff := cmp.Diff([]counters.Kind{counters.IndexDisagrees, counters.IndexAgrees}, r.kinds()); diff != "" {
		t.Errorf("-want +got\n%s", diff)
	}
}

func TestPumpedVolume(t *testing.T) {
	flowing := with(plain, drivers.GlycolFlow)
	totalised := with(flowing, drivers.GlycolVolume)
	totalised.Totaliser = counters.Totaliser{RollsOverAt: 1000, MaxFlow: 1e-3}
	displaced := plain
	displaced.Displacement, displaced.Efficiency = 77.22e-6, 0.9 // 3 plungers of 1 in by 2 in, 77.22 cm³ a revolution
	litres := func(perSecond float64) drivers.Reading { return good(drivers.GlycolFlow, perSecond*1e-3) }
	total := func(cubicMeters float64) drivers.Reading { return good(drivers.GlycolVolume, cubicMeters) }
	run := func(r *rig, d time.Duration, more ...drivers.Reading) {
		r.poll(d, append([]drivers.Reading{driveRuns, rpm(1500)}, more...)...)
	}
	tests := []struct {
		name string
		set  counters.Settings
		do   func(r *rig)
		want float64
		kind []counters.Kind
	}{
		{"half a litre a second for 100 s", flowing, func(r *rig) {
			run(r, 101*time.Second, litres(0.5))
		}, 0.05, nil},
		{"a gap in the flow counts nothing", flowing, func(r *rig) {
			run(r, 11*time.Second, litres(0.5))
			run(r, 20*time.Second)
			run(r, 11*time.Second, litres(0.5))
		}, 0.01, nil},
		{"the meter's zero error does not pump while the pump stands", flowing, func(r *rig) {
			r.poll(time.Hour, driveStops, rpm(0), litres(0.01))
		}, 0, nil},
		{"flow goes on counting while the drive cannot be read", flowing, func(r *rig) {
			run(r, 11*time.Second, litres(0.5))
			r.poll(100*time.Second, litres(0.5))
		}, 0.055, nil},
		{"backward flow takes nothing away", flowing, func(r *rig) {
			run(r, 11*time.Second, litres(0.5))
			run(r, 11*time.Second, litres(-0.5))
		}, 0.005, nil},
		{"a totaliser counts across a gap, and the flow beside it does not", totalised, func(r *rig) {
			run(r, time.Second, total(10), litres(0.5))
			r.wait(999 * time.Second)
			run(r, time.Second, total(10.5), litres(0.5))
		}, 0.5, []counters.Kind{counters.GapUnobserved}},
		{"a totaliser rolls over", totalised, func(r *rig) {
			run(r, time.Second, total(999.99))
			run(r, time.Second, total(0.02))
		}, 0.03, []counters.Kind{counters.MeterRolledOver}},
		{"a totaliser that was reset counts nothing for it", totalised, func(r *rig) {
			run(r, time.Second, total(500))
			run(r, time.Second, total(0))
			run(r, time.Second, total(0.5))
			run(r, time.Second, total(0.6))
		}, 0.1, []counters.Kind{counters.MeterReplaced, counters.MeterReplaced}},
		{"what is pushed back through a totaliser is not counted again", totalised, func(r *rig) {
			run(r, time.Second, total(500))
			run(r, time.Second, total(499.95))
			run(r, time.Second, total(500))
			run(r, time.Second, total(500.02))
		}, 0.02, nil},
		{"a totaliser that was set back counts what comes after", totalised, func(r *rig) {
			run(r, time.Second, total(500))
			run(r, time.Second, total(450))
			run(r, time.Second, total(450.05))
		}, 0.05, nil},
		// 1.0 in × 2.0 in triplex at 300 rpm: 23.1667 L/min by D = A·s·m·n/231.
		{"without a meter by displacement and efficiency", displaced, func(r *rig) {
			run(r, 61*time.Second)
		}, 0.9 * 0.0231667, nil},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			r := newRig(t, tt.set)
			tt.do(r)
			if got := float64(r.totals().Pumped); math.Abs(got-tt.want) > 1e-6 {
				t.Errorf("pumped %.7f m³, want %.7f", got, tt.want)
			}
			if diff := cmp.Diff(tt.kind, r.kinds()); diff != "" {
				t.Errorf("events -want +got\n%s", diff)
			}
		})
	}
}

func TestEnergy(t *testing.T) {
	r := newRig(t, with(plain, drivers.MotorPower))
	r.poll(3601*time.Second, driveRuns, rpm(1500), watts(5500))
	r.poll(20*time.Second, driveRuns, rpm(1500), bad(drivers.MotorPower))
	r.poll(time.Second, driveRuns, rpm(1500), watts(5500))
	r.poll(time.Second, driveRuns, rpm(1500), watts(-9000)) // regenerating: not counted back
	if got, want := float64(r.totals().Energy), 5.5*3.6e6; math.Abs(got-want) > 1 {
		t.Errorf("an hour at 5.5 kW is %.0f J, want %.0f", got, want)
	}
}
