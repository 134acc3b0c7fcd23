package alarm_test

import (
	"math"
	"testing"
	"time"

	"pumpside/drivers"
	"pumpside/drivers/quantity"
	"pumpside/rules/alarm"
)

func good(x float64) alarm.Measured { return alarm.Measured{Value: x, Quality: drivers.Good} }

func TestLimits(t *testing.T) {
	high := alarm.Limit{High: true, First: 80, Two: true, Second: 90, Deadband: 2}
	low := alarm.Limit{First: 20, Two: true, Second: 10, Deadband: 2}
	tests := []struct {
		name  string
		limit alarm.Limit
		value alarm.Measured
		was   alarm.Level
		holds alarm.Known
		worse bool
		at    float64
	}{
		{"below a high limit", high, good(79.9), alarm.Clear, alarm.No, false, 80},
		{"on a high limit", high, good(80), alarm.Clear, alarm.Yes, false, 80},
		{"inside the deadband it stays", high, good(78.1), alarm.Beyond, alarm.Yes, false, 80},
		{"inside the deadband it does not begin", high, good(78.1), alarm.Clear, alarm.No, false, 80},
		{"the deadband is left", high, good(78), alarm.Beyond, alarm.No, false, 80},
		{"the worse limit", high, good(90), alarm.Beyond, alarm.Yes, true, 90},
		{"the worse limit keeps its deadband", high, good(88.1), alarm.FarBeyond, alarm.Yes, true, 90},
		{"back to the first", high, good(88), alarm.FarBeyond, alarm.Yes, false, 80},
		{"above a low limit", low, good(20.1), alarm.Clear, alarm.No, false, 20},
		{"on a low limit", low, good(20), alarm.Clear, alarm.Yes, false, 20},
		{"low deadband", low, good(21.9), alarm.Beyond, alarm.Yes, false, 20},
		{"low deadband is left", low, good(22), alarm.Beyond, alarm.No, false, 20},
		{"the worse low limit", low, good(9), alarm.Clear, alarm.Yes, true, 10},
		{"without a deadband a value on the limit is beyond", alarm.Limit{High: true, First: 80}, good(80), alarm.Beyond, alarm.Yes, false, 80},
		{"no number is never beyond", high, good(math.NaN()), alarm.Beyond, alarm.Unknown, false, 0},
		{"infinite is no number", high, good(math.Inf(1)), alarm.Clear, alarm.Unknown, false, 0},
		{"bad is unknown", high, alarm.Measured{Value: 100, Reason: drivers.Timeout}, alarm.Clear, alarm.Unknown, false, 0},
		{"uncertain is judged", high, alarm.Measured{Value: 100, Quality: drivers.Uncertain}, alarm.Clear, alarm.Yes, true, 90},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			c := tt.limit.Judge(tt.value, tt.was)
			if c.Holds != tt.holds || c.Worse != tt.worse || c.Limit != tt.at {
				t.Errorf("holds %v, worse %v, limit %v; want %v, %v, %v", c.Holds, c.Worse, c.Limit, tt.holds, tt.worse, tt.at)
			}
		})
	}
}

// Common practice, in the line of the deadband and delay tables of EEMUA 191
// and ISA-18.2; values from memory.
func TestDefaultTuning(t *testing.T) {
	const s = time.Second
	tests := []struct {
		name string
		d    quantity.Dimension
		want alarm.Tuning
	}{
		{"flow", quantity.Flow, alarm.Tuning{Deadband: 0.05, Delay: 15 * s}},
		{"level", quantity.Share, alarm.Tuning{Deadband: 0.05, Delay: 60 * s}},
		{"pressure", quantity.Pressure, alarm.Tuning{Deadband: 0.02, Delay: 15 * s}},
		{"temperature", quantity.Temperature, alarm.Tuning{Deadband: 0.01, Delay: 60 * s}},
		{"current", quantity.Current, alarm.Tuning{Deadband: 0.04, Delay: 10 * s, Blanking: 10 * s}},
		{"torque", quantity.Torque, alarm.Tuning{Deadband: 0.04, Delay: 10 * s, Blanking: 10 * s}},
	}
	for _, tt := range tests {
		if got := alarm.TuningOf(tt.d); got != tt.want {
			t.Errorf("%s: %+v, want %+v", tt.name, got, tt.want)
		}
	}
}

func TestSignalAlarms(t *testing.T) {
	f := func(x float64) *float64 { return &x }
	defs := alarm.SignalAlarms(alarm.SignalSettings{
		Signal: drivers.DischargePressure, Span: 16e6, Low: f(2e6), High: f(8e6), HighHigh: f(9e6), RisesFaster: f(1e4),
		Against: drivers.ContactorPressure, Above: f(5e5),
	})
	defs = append(defs, alarm.SignalAlarms(alarm.SignalSettings{Signal: drivers.Auxiliary(3), Name: "Still column", Dimension: quantity.Temperature, Span: 200, High: f(110), State: f(1)})...)
	defs = append(defs, alarm.SignalBad(drivers.GlycolFlow, ""), alarm.SignalBad(drivers.Auxiliary(3), "Still column"))
	if err := alarm.ValidateAll(defs); err != nil {
		t.Fatal(err)
	}
	want := []struct {
		name, text, subject string
		deadband            float64
		delay               time.Duration
	}{
		{"discharge_pressure_low", "discharge_pressure_low", "", 320e3, 15 * time.Second},
		{"discharge_pressure_high", "discharge_pressure_high", "", 320e3, 15 * time.Second},
		{"discharge_pressure_rising", "signal_rising", "", 1e3, 15 * time.Second},
		{"discharge_pressure_deviates_high", "signal_deviates_high", "", 320e3, 15 * time.Second},
		{"still_column_high", "signal_high", "Still column", 2, 60 * time.Second},
		{"still_column_on", "switch_on", "Still column", 0, 60 * time.Second},
		{"glycol_flow_bad", "signal_bad", "", 0, 60 * time.Second},
		{"still_column_bad", "signal_bad", "Still column", 0, 60 * time.Second},
	}
	if d := alarm.SignalAlarms(alarm.SignalSettings{Signal: drivers.StrainerDifferentialPressure, High: f(35e3)})[0]; d.Class != alarm.Advisory || d.Notify != alarm.NextWorkingDay || d.Responder != alarm.Mechanic {
		t.Errorf("a plugging strainer wakes someone: %+v", d)
	}
	if len(defs) != len(want) {
		t.Fatalf("%d definitions, want %d", len(defs), len(want))
	}
	for i, w := range want {
		d := defs[i]
		if d.Name != w.name || d.Text != w.text || d.Subject != w.subject || d.Rule.Limit.Deadband != w.deadband || d.OnDelay != w.delay {
			t.Errorf("%s: %+v, want %+v", d.Name, d, w)
		}
	}
}

func TestQualityRule(t *testing.T) {
	r := alarm.Rule{By: alarm.ByQuality}
	tests := []struct {
		name string
		v    alarm.Measured
		want alarm.Known
	}{
		{"good", good(1), alarm.No},
		{"uncertain is not bad", alarm.Measured{Quality: drivers.Uncertain, Reason: drivers.LoopUncertain}, alarm.No},
		{"frozen", alarm.Measured{Reason: drivers.Frozen}, alarm.Yes},
		{"loop failed", alarm.Measured{Reason: drivers.LoopFailed}, alarm.Yes},
		{"the device's alarm speaks for a timeout", alarm.Measured{Reason: drivers.Timeout}, alarm.Unknown},
	}
	for _, tt := range tests {
		if c := r.Judge(tt.v, alarm.Clear); c.Holds != tt.want {
			t.Errorf("%s: %v, want %v", tt.name, c.Holds, tt.want)
		}
	}
}

func TestStateAndDeviationRules(t *testing.T) {
	on := alarm.Rule{By: alarm.ByState, State: 1}
	for x, want := range map[float64]alarm.Known{1: alarm.Yes, 0: alarm.No} {
		if c := on.Judge(good(x), alarm.Clear); c.Holds != want {
			t.Errorf("switch at %v: %v, want %v", x, c.Holds, want)
		}
	}
	off := alarm.Measured{Value: 3, Quality: drivers.Bad, Reason: drivers.LoopFailed, Age: time.Second}
	if d := good(5).Less(off); d.Quality != drivers.Bad || d.Reason != drivers.LoopFailed || d.Age != time.Second {
		t.Errorf("difference with a bad value: %+v", d)
	}
	if d := good(5).Less(good(3)); d.Value != 2 || d.Quality != drivers.Good {
		t.Errorf("difference: %+v", d)
	}
}

func TestSlopeOfARamp(t *testing.T) {
	s := alarm.NewSlope(time.Minute)
	for i := range 200 {
		s.Add(time.Duration(i)*time.Second, 3*float64(i))
		if got := s.PerSecond(); i < 32 != math.IsNaN(got) || i >= 32 && math.Abs(got-3) > 1e-12 {
			t.Fatalf("after %d s: %v", i, got)
		}
	}
	s.Add(time.Hour, 0)
	if got := s.PerSecond(); !math.IsNaN(got) {
		t.Errorf("after a gap: %v, want nothing known", got)
	}
}

func TestDeviceIsSilentAfterThreePollsAndHalfAMinute(t *testing.T) {
	var a alarm.Answers
	second := alarm.Moment{Elapsed: time.Second, Watched: time.Second}
	if a.Judge(&second).Holds != alarm.Unknown {
		t.Error("before the first poll nothing is known")
	}
	a.Polled(true)
	after := 0
	for a.Judge(&second).Holds != alarm.Yes {
		a.Polled(false)
		after++
	}
	if after != 30 {
		t.Errorf("silent after %d s, want 30", after)
	}
	a.Polled(true)
	if a.Judge(&second).Holds != alarm.Yes {
		t.Error("one good poll is not enough")
	}
	a.Polled(true)
	if a.Judge(&second).Holds != alarm.No {
		t.Error("two good polls are enough")
	}
}

func TestSlowPollsNeedThreeMisses(t *testing.T) {
	var a alarm.Answers
	a.Polled(true)
	beat := alarm.Moment{Elapsed: 30 * time.Second, Watched: 30 * time.Second}
	for miss := 1; miss <= 3; miss++ {
		a.Polled(false)
		if got, want := a.Judge(&beat).Holds, alarm.KnownBool(miss == 3); got != want {
			t.Errorf("miss %d: %v, want %v", miss, got, want)
		}
	}
}

func TestDefinitionsSayWhatIsWrong(t *testing.T) {
	d := alarm.Definition{Name: "Low Flow", Text: "nothing", Class: alarm.Alarm, Priority: alarm.High, OnDelay: -1, Rule: alarm.Rule{By: alarm.ByValue, Limit: alarm.Limit{High: true, First: 3, Two: true, Second: 2}}}
	const want = `alarm "Low Flow": the name must be of lower-case letters, digits, _ and -
alarm "Low Flow": there is no text "nothing" in the catalogue
alarm "Low Flow": priority low of the worse limit is below high of the first
alarm "Low Flow": a time is below zero
alarm "Low Flow": an alarm needs a responder and a time to respond
alarm "Low Flow": the second high limit must be above the first`
	if err := d.Validate(); err == nil || err.Error() != want {
		t.Errorf("error\n%v\nwant\n%s", err, want)
	}
	twice := []alarm.Definition{alarm.Standing("no_flow"), alarm.Standing("no_flow")}
	if err := alarm.ValidateAll(twice); err == nil || err.Error() != `alarm "no_flow": the name is used twice` {
		t.Errorf("error %v", err)
	}
}
