package rules_test

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"pumpside/drivers"
	"pumpside/drivers/quantity"
	"pumpside/rules"
	"pumpside/rules/alarm"
	"pumpside/rules/counters"
	"pumpside/rules/orders"
	"pumpside/rules/pump"
	"pumpside/simulator"
)

// A sampling is how a gateway reads the pump.
type sampling struct {
	poll     time.Duration // of pressure and index; 0: only on the routine beat
	jitter   float64       // polls come late or early by up to this share of poll
	half     time.Duration // of the time stamps' uncertainty
	index    bool
	unstated bool          // nobody has stated the angle of the index
	meter    bool          // a flow meter, every second
	fastFor  time.Duration // pressure is polled fast for so long
	fastEach time.Duration // on this beat; 0: always

	frequency bool                                       // the drive tells its frequency instead of a speed
	shows     func(at time.Duration, r *drivers.Reading) // what a device makes of a value; may be nil
}

// A bench is a simulated pump with the rules watching it.
type bench struct {
	t     testing.TB
	skid  *simulator.Skid
	how   sampling
	set   *rules.Settings
	state *rules.State
	rng   *rand.Rand
	boot  time.Duration

	next, routine time.Duration      // of the simulation
	silent        []time.Duration    // from when on the instruments do not answer for two minutes
	visits        []string           // advisories about wear that were raised
	changed       func(rules.Change) // told of every change; may be nil
	batch         drivers.Batch
}

var benchSignals = map[drivers.Signal]struct {
	name  string
	scale float64
}{
	drivers.MotorSpeed: {"motor_speed", 1}, drivers.MotorTorque: {"motor_torque", 1}, drivers.MotorPower: {"motor_power", 1e3},
	drivers.SuctionPressure: {"suction_pressure", 1e3}, drivers.GlycolTemperature: {"glycol_temperature", 1},
	drivers.HydraulicOilTemperature: {"hydraulic_oil_temperature", 1}, drivers.GlycolFlow: {"glycol_flow", 1.0 / 60e3},
	drivers.BypassValve: {"bypass_valve", 1}, drivers.DriveFrequency: {"motor_speed", 2.0 / 60}, // four poles, no slip
}

// routineOrder is fixed, so that a run is the same every time.
var routineOrder = []drivers.Signal{
	drivers.MotorSpeed, drivers.MotorTorque, drivers.MotorPower, drivers.SuctionPressure, drivers.GlycolTemperature,
	drivers.HydraulicOilTemperature, drivers.GlycolFlow, drivers.BypassValve, drivers.DriveFrequency,
}

func geometryOf(m simulator.Machine, index bool) pump.Geometry {
	g := pump.Geometry{
		Cylinders: 3, Bore: m.Bore, Stroke: m.Stroke, Ratio: quantity.Ratio(m.GearRatio), MotorPoles: 2 * m.PolePairs,
		MotorRatedSpeed: 1450, RatedSpeed: m.RatedSpeed, RatedPressure: 10e6, Cylinder1: "nearest the coupling",
		Dead: pump.DeadVolume{
			Oil: quantity.CubicMeters(float64(m.OilVolume) * float64(m.StrokeVolume())), Liquid: quantity.CubicMeters(float64(m.DeadVolume) * float64(m.StrokeVolume())),
		},
	}
	switch m.Mechanism.Motion {
	case simulator.Sine:
		g.Mechanism.Kind = pump.Sine
	default:
		g.Mechanism = pump.Mechanism{Kind: pump.Crank, RodRatio: quantity.Ratio(m.Mechanism.RodRatio), Discharge: pump.Away}
		if m.Mechanism.Motion == simulator.DischargeTowards {
			g.Mechanism.Discharge = pump.Towards
		}
	}
	if index {
		g.Index = pump.Index{PulsesPerRevolution: 1, AngleKnown: true}
	}
	return g
}

func newBench(t testing.TB, s simulator.Settings, how sampling) *bench {
	t.Helper()
	s.Detail = simulator.Full
	skid, err := simulator.NewSkid(s)
	if err != nil {
		t.Fatal(err)
	}
	b := &bench{t: t, skid: skid, how: how, rng: rand.New(rand.NewPCG(s.Seed, 77)), boot: 100 * time.Hour}
	list := []drivers.Signal{drivers.DischargePressure}
	for _, one := range routineOrder {
		switch one {
		case drivers.GlycolFlow:
			if !how.meter {
				continue
			}
		case drivers.MotorSpeed, drivers.DriveFrequency:
			if how.frequency != (one == drivers.DriveFrequency) {
				continue
			}
		}
		list = append(list, one)
	}
	if how.index {
		list = append(list, drivers.ShaftIndex)
	}
	g := geometryOf(s.Machine, how.index)
	g.Index.AngleKnown = g.Index.AngleKnown && !how.unstated
	set := rules.Settings{Pump: "gp-1", Geometry: g, Counters: counters.Settings{Installed: counters.SignalsOf(list...), Ratio: g.Ratio, RatedSpeed: 1450, WitnessPower: 300}}
	if how.index {
		set.Counters.Index.PulsesPerRevolution = 1
	}
	for _, one := range list {
		row := rules.SignalSettings{Signal: one, StaleAfter: 10 * time.Minute}
		if one == drivers.DischargePressure {
			row.UpdatePeriod = time.Duration(float64(s.Discharge.Update) * 1e9)
			row.Path = orders.Path{Lags: [3]float64{float64(s.Discharge.Damping), float64(s.Discharge.Snubber)}, Average: float64(s.Discharge.Average)}
		}
		set.Signals = append(set.Signals, row)
	}
	if b.set, err = set.Checked(); err != nil {
		t.Fatal(err)
	}
	b.state, _ = rules.Start(b.set, nil)
	return b
}

// run lets the pump live until an instant of the simulation, or until done
// says so; done is asked every ten seconds.
func (b *bench) run(until time.Duration, done func(*rules.ConditionView) bool) (at time.Duration, stopped bool) {
	asked := b.next
	for b.next < until {
		if b.routine <= b.next {
			b.readRoutine(b.routine)
			b.routine += time.Second
		}
		if b.fast(b.next) {
			b.readFast(b.next)
			b.next += time.Duration(float64(b.how.poll) * (1 + b.how.jitter*(2*b.rng.Float64()-1)))
		} else {
			b.next = b.routine
		}
		if done != nil && b.next-asked >= 10*time.Second {
			asked = b.next
			if v := b.state.Snapshot(b.set).Condition; v != nil && done(v) {
				return b.next, true
			}
		}
	}
	return b.next, false
}

func (b *bench) fast(at time.Duration) bool {
	return b.how.poll > 0 && (b.how.fastEach == 0 || at%b.how.fastEach < b.how.fastFor)
}

func (b *bench) begin(at, half time.Duration) {
	b.batch.At = drivers.Instant{Boot: "boot-a", SinceBoot: b.boot + at, Wall: noon.Add(at), Synchronized: true}
	b.batch.HalfWidth = half
	b.batch.Readings = b.batch.Readings[:0]
}

func (b *bench) read(signal drivers.Signal, name string, scale float64, at time.Duration) {
	v, ok := b.skid.Value(name, at)
	if !ok {
		b.t.Fatalf("the simulator has no %s", name)
	}
	r := drivers.Reading{Signal: signal, Value: v * scale, Quality: drivers.Good}
	if b.mute(signal, at) {
		r = drivers.Reading{Signal: signal, Quality: drivers.Bad, Reason: drivers.Timeout}
	}
	if b.how.shows != nil {
		b.how.shows(at, &r)
	}
	b.batch.Readings = append(b.batch.Readings, r)
}

// mute is whether the device of a signal does not answer.
func (b *bench) mute(signal drivers.Signal, at time.Duration) bool {
	switch signal {
	case drivers.MotorSpeed, drivers.MotorTorque, drivers.MotorPower: // of the drive
		return false
	}
	return slices.ContainsFunc(b.silent, func(from time.Duration) bool { return from <= at && at < from+2*time.Minute })
}

func (b *bench) step() {
	for _, c := range rules.Step(b.set, b.state, &b.batch) {
		if b.changed != nil {
			b.changed(c)
		}
		if c.Event != nil {
			switch c.Event.Alarm {
			case "loss_in_one_head", "finding", "efficiency_low":
				if c.Event.Kind == alarm.Raised {
					b.visits = append(b.visits, fmt.Sprintf("%s after %v, causes %v", c.Event.Alarm, b.next.Round(time.Second), c.Event.Causes))
				}
			}
		}
	}
}

func (b *bench) readRoutine(at time.Duration) {
	b.begin(at, 5*time.Millisecond)
	for _, one := range routineOrder {
		if _, ok := b.place(one); ok {
			b.read(one, benchSignals[one].name, benchSignals[one].scale, at)
		}
	}
	if b.how.poll == 0 || !b.fast(at) {
		b.read(drivers.DischargePressure, "discharge_pressure", 1e3, at)
		if b.how.index {
			b.read(drivers.ShaftIndex, "shaft_index", 1, at)
		}
	}
	b.step()
}

func (b *bench) place(s drivers.Signal) (int, bool) {
	for i := range b.set.Signals {
		if b.set.Signals[i].Signal == s {
			return i, true
		}
	}
	return 0, false
}

// readFast stamps a reading with the middle of when it may have been true.
func (b *bench) readFast(at time.Duration) {
	stamp := at + time.Duration(float64(b.how.half)*(2*b.rng.Float64()-1))
	b.begin(max(stamp, b.batch.At.SinceBoot-b.boot+time.Microsecond), b.how.half)
	b.read(drivers.DischargePressure, "discharge_pressure", 1e3, at)
	if b.how.index {
		b.read(drivers.ShaftIndex, "shaft_index", 1, at)
	}
	b.step()
}
