package rules_test

import (
	"slices"
	"testing"
	"time"

	"pumpside/drivers"
	"pumpside/rules"
	"pumpside/rules/alarm"
	"pumpside/rules/hydraulics"
	"pumpside/rules/pump"
	"pumpside/simulator"
)

// triplex is a pump whose plungers sweep 32.8 L/min at 290 rpm, and whose
// suction has 7.6 m more than it requires.
func triplex(s *rules.Settings) {
	s.Geometry = pump.Geometry{
		Mechanism: pump.Mechanism{Kind: pump.Crank, RodRatio: 5, Discharge: pump.Away}, Cylinders: 3, Bore: 0.04, Stroke: 0.03,
		Ratio: 5, MotorRatedSpeed: 1450, RatedSpeed: 300, RatedPressure: 10e6,
	}
	line := hydraulics.SuctionLine{Length: 4, Bore: 0.05, Liquid: hydraulics.GlycolLiquid}
	s.Suction = rules.Suction{Required: 3, Line: line, Atmosphere: 101325, Water: 0.01}
}

func transitions(events []alarm.Event, name string) (list []string) {
	for _, e := range events {
		if e.Kind != alarm.Recorded && e.Alarm == name {
			list = append(list, e.Kind.String())
		}
	}
	return list
}

func TestWhatPhysicsDoesNotAllowIsRaisedAndCleared(t *testing.T) {
	for _, tt := range []struct {
		alarm  string
		signal drivers.Signal
		wrong  float64
		value  float64 // of the alarm
	}{
		{"efficiency_impossible", drivers.GlycolFlow, 40.0 / 60e3, 1.2196}, // 40 of 32.8 L/min
		{"npsh_margin_low", drivers.SuctionPressure, -60e3, -0.876},        // 90 kPa less than 30 kPa are 8.525 m less than 7.649 m
	} {
		t.Run(tt.alarm, func(t *testing.T) {
			r := newRig(t, triplex)
			if got := transitions(r.pass(20*time.Minute), tt.alarm); len(got) > 0 {
				t.Fatalf("a healthy pump: %v", got)
			}
			right := r.values[tt.signal]
			r.values[tt.signal] = tt.wrong
			if got := transitions(r.pass(9*time.Minute), tt.alarm); len(got) > 0 {
				t.Errorf("within its delay: %v", got)
			}
			got := r.pass(2 * time.Minute)
			at := slices.IndexFunc(got, func(e alarm.Event) bool { return e.Alarm == tt.alarm && e.Kind == alarm.Raised })
			if at < 0 {
				t.Fatalf("not raised: %v", names(got))
			}
			if v := got[at].Value; v == nil || v.Value < tt.value-0.01 || v.Value > tt.value+0.01 {
				t.Errorf("value %+v, want %v", v, tt.value)
			}
			r.values[tt.signal] = right
			if got := transitions(r.pass(65*time.Minute), tt.alarm); !slices.Equal(got, []string{"cleared"}) {
				t.Errorf("after it was right again: %v", got)
			}
		})
	}
}

// Meters that over-read, noise, changes of speed and cold glycol make no pump
// impossible.
func TestNoHealthyPumpIsImpossible(t *testing.T) {
	for seed := range uint64(6) {
		b := newBench(t, variedSite(seed+50), sampling{poll: time.Second, half: 3 * time.Millisecond, meter: true})
		b.changed = func(c rules.Change) {
			if c.Event != nil && c.Event.Alarm == "efficiency_impossible" {
				t.Errorf("pump %d: %v %s %+v", seed, c.Event.Kind, c.Event.Alarm, c.Event.Value)
			}
		}
		rated := float64(b.set.Geometry.RatedSpeed)
		b.event(
			simulator.Event{Do: simulator.Start}, simulator.Event{At: 20 * time.Minute, Do: simulator.SetSpeed, Size: 0.6 * rated},
			simulator.Event{At: 40 * time.Minute, Do: simulator.Cold, Size: 20, Onset: 10 * time.Minute}, simulator.Event{At: time.Hour, Do: simulator.SetSpeed, Size: rated},
		)
		b.run(90*time.Minute, nil)
		if v := b.state.Snapshot(b.set).Condition; !v.Efficiency.Known {
			t.Errorf("pump %d: its efficiency is not known", seed)
		}
	}
}
