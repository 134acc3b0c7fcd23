package counters

import (
	"errors"
	"fmt"
	"time"

	"pumpside/drivers"
	"pumpside/drivers/quantity"
)

// Signals is the set of signals a pump has. The zero set is empty.
type Signals uint64

// SignalsOf gives the set of list. Site-named signals are no part of it.
func SignalsOf(list ...drivers.Signal) Signals {
	var set Signals
	for _, s := range list {
		if s < drivers.SignalCount {
			set |= 1 << s
		}
	}
	return set
}

// Has reports whether s is in the set.
func (set Signals) Has(s drivers.Signal) bool { return set>>s&1 == 1 }

// A MeterKind says what an hour meter counts.
type MeterKind uint8

const (
	// KindUnknown leaves it to be found out: does it tick while stopped?
	KindUnknown MeterKind = iota
	// RunHours ticks while the drive runs the motor.
	RunHours
	// PowerOnHours ticks while the drive has power. It bounds a gap from
	// above and closes none.
	PowerOnHours
)

// Settings are what must be known of a pump to count it. [Settings.Checked]
// fills what is left zero; [Step] takes only checked settings.
type Settings struct {
	Installed Signals // the signals this pump has of its own; leave out a shared one

	// Switched is that the drive serves several motors in turn: the pump's own
	// contactor auxiliary tells when it is this pump's. The drive's hour meter
	// counts for all of them and must not be among Installed.
	Switched bool

	SpeedThreshold quantity.RevolutionsPerMinute // motor speed that is running; default 50 (common practice, no source)
	RatedSpeed     quantity.RevolutionsPerMinute // motor speed on mains: used in bypass and where no speed is measured
	PerHertz       quantity.RevolutionsPerMinute // motor speed for each hertz, where only the frequency is measured; default 30 (four poles, slip neglected)
	Ratio          quantity.Ratio                // motor revolutions for one of the pump; default 1
	MaxPumpSpeed   quantity.RevolutionsPerMinute // no pump turns faster; default 1.2 times rated, else 2000

	Cylinders    int                  // default 3
	Displacement quantity.CubicMeters // of one pump revolution, for a pump without a flow meter; 0 counts none
	Efficiency   quantity.Ratio       // volumetric, with Displacement; default 1

	MaxGap       time.Duration // between two readings that count time between them; default 10 s
	DisputeAfter time.Duration // of disagreement; also how long a witness's last word holds; default 60 s
	TellGap      time.Duration // gaps shorter than this are counted but make no event; default 60 s
	ClockWait    time.Duration // after a reboot: how long to wait for a synchronised clock before crediting a gap of unknown length; default 15 min
	LongestGap   time.Duration // a meter that moved further in a gap of unknown length was replaced; default 31 days

	// Witnesses of running; a zero threshold takes no witness of that kind.
	WitnessPower  quantity.Watts                // motor power at or above
	WitnessFlow   quantity.CubicMetersPerSecond // glycol flow at or above; a flow switch needs no threshold
	WitnessRipple quantity.Pascals              // discharge pressure swings up and down by this within 15 s

	Index     Index
	HourMeter HourMeter
	Totaliser Totaliser
	Opening   Opening
}

// An Index describes the counter of shaft pulses.
type Index struct {
	PulsesPerRevolution float64        // of the pump shaft; default 1
	Bits                uint           // size of the register, 0 when it never rolls over
	Tolerance           quantity.Ratio // between index and motor speed; default 0.02 (common practice, no source)
}

// An HourMeter describes the drive's own meter.
type HourMeter struct {
	Resolution time.Duration // of one step; default 1 h
	Bits       uint          // of the register counting such steps, 0 when it never rolls over
	Kind       MeterKind
}

// A Totaliser describes the volume counter of a flow meter.
type Totaliser struct {
	RollsOverAt quantity.CubicMeters          // 0 when it never does
	MaxFlow     quantity.CubicMetersPerSecond // no pump delivers more; default by Displacement, 0 leaves steps unjudged
}

// An Opening is what a pump that is not new had done before. It is added when
// totals are shown and never stored: a corrected setting corrects the total.
type Opening struct {
	Run         time.Duration
	Revolutions float64 // of the pump shaft
	Starts      uint64
	Pumped      quantity.CubicMeters
	Energy      quantity.Joules
}

const defaultMaxPumpSpeed = 2000 // rpm; the fastest such pumps run at 1,750 (common practice, no source)

// Checked gives set with its defaults, or every reason why it cannot be used.
func (set Settings) Checked() (Settings, error) {
	fill(&set.SpeedThreshold, 50)
	fill(&set.PerHertz, 30)
	fill(&set.Ratio, 1)
	fill(&set.Cylinders, 3)
	fill(&set.Efficiency, 1)
	fill(&set.MaxGap, 10*time.Second)
	fill(&set.DisputeAfter, time.Minute)
	fill(&set.TellGap, time.Minute)
	fill(&set.ClockWait, 15*time.Minute)
	fill(&set.LongestGap, 31*24*time.Hour)
	fill(&set.Index.PulsesPerRevolution, 1)
	fill(&set.Index.Tolerance, 0.02)
	fill(&set.HourMeter.Resolution, time.Hour)
	fill(&set.MaxPumpSpeed, 1.2*set.RatedSpeed/quantity.RevolutionsPerMinute(set.Ratio))
	fill(&set.MaxPumpSpeed, defaultMaxPumpSpeed)
	fill(&set.Totaliser.MaxFlow, quantity.CubicMetersPerSecond(1.2*float64(set.Displacement)*float64(set.MaxPumpSpeed)/60))
	return set, set.problems()
}

func fill[T comparable](field *T, value T) {
	var zero T
	if *field == zero {
		*field = value
	}
}

func (set *Settings) problems() error {
	var all []error
	require := func(ok bool, format string, args ...any) {
		if !ok {
			all = append(all, fmt.Errorf(format, args...))
		}
	}
	require(set.judged(), "no signal tells whether the motor runs; one of drive_status, motor_speed, drive_frequency, contactor_auxiliary is needed")
	require(!set.Switched || set.Installed.Has(drivers.ContactorAuxiliary) && !set.Installed.Has(drivers.DriveRunHours),
		"a switched drive needs this pump's contactor_auxiliary, and its drive_run_hours count for every motor")
	require(set.SpeedThreshold > 0, "speed threshold is %v rpm, must be above 0", set.SpeedThreshold)
	require(set.Ratio > 0, "ratio is %v motor revolutions for one of the pump, must be above 0", set.Ratio)
	require(set.Cylinders > 0, "%d cylinders, must be 1 or more", set.Cylinders)
	require(set.RatedSpeed > 0 || set.measuresSpeed() && !set.Installed.Has(drivers.BypassContactor),
		"rated motor speed is needed where no speed is measured and where a contactor runs the motor past its drive")
	require(set.Displacement >= 0 && set.Efficiency > 0, "displacement %v m³ and efficiency %v must not be negative", set.Displacement, set.Efficiency)
	require(set.MaxGap > 0 && set.MaxGap <= set.DisputeAfter, "max gap is %v, must be above 0 and no longer than the %v after which running is disputed", set.MaxGap, set.DisputeAfter)
	require(set.Index.PulsesPerRevolution > 0, "%v index pulses per revolution, must be above 0", set.Index.PulsesPerRevolution)
	require(set.Index.Bits <= 48, "index register has %d bits, 48 at most", set.Index.Bits)
	require(set.HourMeter.Resolution >= time.Second, "hour meter resolution is %v, must be 1 s or more", set.HourMeter.Resolution)
	require(set.HourMeter.Bits <= 48, "hour meter register has %d bits, 48 at most", set.HourMeter.Bits)
	return errors.Join(all...)
}

// judged reports whether anything tells if the motor runs.
func (set *Settings) judged() bool {
	return set.measuresSpeed() || set.Installed&SignalsOf(drivers.DriveStatus, drivers.ContactorAuxiliary) != 0
}

func (set *Settings) measuresSpeed() bool {
	return set.Installed&SignalsOf(drivers.MotorSpeed, drivers.DriveFrequency) != 0
}

// longestMeter is the most an hour meter may show. A register of 32 bits of
// hours could say half a million years, which would not fit a Duration; no
// drive has run for one hundred.
const longestMeter = 100 * 365 * 24 * time.Hour

// rollover is the run time after which the register starts again, 0 for never.
func (m *HourMeter) rollover() time.Duration {
	if m.Bits == 0 || m.Resolution > longestMeter>>m.Bits {
		return 0
	}
	return m.Resolution << m.Bits
}

// rollover is the number of pulses after which the register starts again, 0
// for never.
func (x *Index) rollover() float64 {
	if x.Bits == 0 {
		return 0
	}
	return float64(uint64(1) << x.Bits)
}
