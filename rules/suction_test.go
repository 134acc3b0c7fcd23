package rules_test

import (
	"math"
	"testing"
	"time"

	"pumpside/drivers"
	"pumpside/rules"
	"pumpside/rules/hydraulics"
	"pumpside/rules/pump"
)

// 30 kPa at the flange, 80 °C, 290 rpm. Calculated by hand from the formulas of
// the Hydraulic Institute (6.1–6.5): (30 + 101.325 − 0.07766·47.41 kPa) of
// glycol of 1,076.6 kg/m³ are 12.090 m; the velocity of 0.278 m/s gives 0.004 m,
// and 4 m of pipe take 4·0.278·290·0.0658/(1.5·g) = 1.445 m.
func TestSuctionMargin(t *testing.T) {
	line := hydraulics.SuctionLine{Length: 4, Bore: 0.05, Liquid: hydraulics.GlycolLiquid}
	for _, tt := range []struct {
		name   string
		change func(*rules.Settings, *rig)
		want   float64 // m; NaN: not known
	}{
		{"a pipe of 4 m", func(*rules.Settings, *rig) {}, 12.090 + 0.004 - 1.445 - 3},
		{"a suction dampener at the pump", func(s *rules.Settings, _ *rig) { s.Suction.Line = hydraulics.SuctionLine{} }, 12.090 - 3},
		{"on a mountain", func(s *rules.Settings, _ *rig) { s.Suction.Atmosphere = 80e3 }, 12.090 - 21325/(1076.57*9.80665) + 0.004 - 1.445 - 3},
		{"nobody stated what it needs", func(s *rules.Settings, _ *rig) { s.Suction.Required = 0 }, math.NaN()},
		{"the temperature is not read", func(_ *rules.Settings, r *rig) { r.bad[drivers.GlycolTemperature] = drivers.Timeout }, math.NaN()},
		{"it stands", func(_ *rules.Settings, r *rig) {
			r.values[drivers.DriveStatus], r.values[drivers.MotorSpeed], r.values[drivers.MotorPower] = float64(drivers.DriveStopped), 0, 0
		}, math.NaN()},
	} {
		r := newRig(t, func(s *rules.Settings) {
			s.Geometry = pump.Geometry{
				Mechanism: pump.Mechanism{Kind: pump.Crank, RodRatio: 5, Discharge: pump.Away}, Cylinders: 3, Bore: 0.04, Stroke: 0.03,
				Ratio: 5, MotorRatedSpeed: 1450, RatedSpeed: 300, RatedPressure: 10e6,
			}
			s.Suction = rules.Suction{Required: 3, Line: line, Atmosphere: 101325, Water: 0.01}
		})
		tt.change(r.set, r)
		r.pass(time.Minute)
		got := r.state.Snapshot(r.set).Condition.SuctionMargin
		if got.Known == math.IsNaN(tt.want) || got.Known && math.Abs(got.Value-tt.want) > 0.01 {
			t.Errorf("%s: margin %+v, want %.3f m", tt.name, got, tt.want)
		}
	}
}

// 20 L/min against 6.97 MPa are 2,323 W: of the 3,000 W the motor takes 77.4 %.
func TestWireToLiquidEfficiencyIsShown(t *testing.T) {
	r := newRig(t, func(s *rules.Settings) {
		s.Geometry = pump.Geometry{
			Mechanism: pump.Mechanism{Kind: pump.Crank, RodRatio: 5, Discharge: pump.Away}, Cylinders: 3, Bore: 0.04, Stroke: 0.03,
			Ratio: 5, MotorRatedSpeed: 1450, RatedSpeed: 300, RatedPressure: 10e6,
		}
	})
	r.pass(time.Minute)
	if got := r.state.Snapshot(r.set).Condition.WireToLiquid; !got.Known || math.Abs(got.Value-0.7744) > 1e-3 {
		t.Errorf("wire to liquid %+v, want 0.774", got)
	}
	r.bad[drivers.MotorPower] = drivers.Timeout
	r.pass(time.Minute)
	if got := r.state.Snapshot(r.set).Condition.WireToLiquid; got.Known {
		t.Errorf("known as %v without the motor's power", got.Value)
	}
}
