package rules_test

import (
	"math/rand/v2"
	"testing"
	"time"

	"pumpside/drivers"
	"pumpside/rules"
	"pumpside/rules/alarm"
	"pumpside/rules/pump"
	"pumpside/rules/service"
)

// watchedPump has a geometry that gives 20 L/min at 290 rpm with 92 %, and a
// task whose effect is judged.
func watchedPump(set *rules.Settings) {
	set.Geometry = pump.Geometry{
		Mechanism: pump.Mechanism{Kind: pump.Sine}, Cylinders: 3, Bore: 0.032, Stroke: 0.0311, Ratio: 5, RatedSpeed: 330, RatedPressure: 10e6,
	}
	set.Counters.Cylinders = 3
	set.Tasks = []service.Task{{Name: "valves", Kind: service.Valves, RunTime: 4000 * time.Hour, DueSoon: 0.9, Overdue: 1.1}}
}

// TestAFaultThatNeverShowedCannotBeJudged: work on a pump in which nothing had
// changed is followed, and the verdict says so.
func TestAFaultThatNeverShowedCannotBeJudged(t *testing.T) {
	r := newRig(t, watchedPump)
	r.pass(time.Minute)
	r.step(drivers.Command{ID: "1", User: "d.moss", Verb: drivers.RecordService, Task: "valves"})
	view := r.state.Snapshot(r.set).Repair
	if view == nil || view.Task != "valves" || view.Record != 1 || view.Verdict != "" {
		t.Fatalf("repair %+v", view)
	}
	r.at.Wall, r.at.SinceBoot = r.at.Wall.AddDate(0, 0, 31), r.at.SinceBoot+31*24*time.Hour
	r.pass(2 * time.Minute)
	view = r.state.Snapshot(r.set).Repair
	if view.Verdict != "cannot_tell" || view.Why != "nothing that can be compared was measured just before the work" {
		t.Errorf("repair %+v", view)
	}
	found := false
	for _, e := range r.events {
		found = found || e.Kind == alarm.Recorded && e.Text == "service_effect_unknown"
	}
	if !found {
		t.Error("the verdict is not in the journal")
	}
}

func TestWorkTakenBackIsNotJudged(t *testing.T) {
	r := newRig(t, watchedPump)
	r.pass(time.Minute)
	r.step(drivers.Command{ID: "1", User: "d.moss", Verb: drivers.RecordService, Task: "valves"})
	r.step(drivers.Command{ID: "2", User: "d.moss", Verb: drivers.RecordService, Service: &drivers.ServiceEntry{Undoes: 1}})
	if view := r.state.Snapshot(r.set).Repair; view != nil {
		t.Errorf("repair %+v", view)
	}
}

// TestDidTheValvesHelp lives through a healthy day, hours with 6 % less flow,
// new valves and the hours after.
func TestDidTheValvesHelp(t *testing.T) {
	for _, tt := range []struct {
		name  string
		after float64 // share of the healthy flow
		want  string
	}{{"flow is back", 1, "repaired"}, {"flow is not back", 0.94, "not_repaired"}} {
		t.Run(tt.name, func(t *testing.T) {
			r := newRig(t, watchedPump)
			noise := rand.New(rand.NewPCG(1, 2))
			live := func(hours int, share float64) {
				for range hours * 3600 {
					r.values[drivers.GlycolFlow] = running[drivers.GlycolFlow] * share * (1 + 0.01*noise.NormFloat64())
					r.step()
				}
			}
			live(12, 1)
			live(6, 0.94)
			r.step(drivers.Command{ID: "1", User: "d.moss", Verb: drivers.RecordService, Task: "valves"})
			live(6, tt.after)
			if view := r.state.Snapshot(r.set).Repair; view.Verdict != tt.want {
				t.Errorf("repair %+v, want %s\n%+v", view, tt.want, r.state.Repair.Marks)
			}
		})
	}
}
