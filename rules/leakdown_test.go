package rules_test

import (
	"math"
	"slices"
	"testing"
	"time"

	"pumpside/drivers"
	"pumpside/rules/alarm"
)

// stops stands and starts the pump n times; each time the pressure above the
// suction falls to 1 − loss within the minute that is measured.
func stops(r *rig, n int, loss float64) {
	for range n {
		stand(r)
		r.values[drivers.DischargePressure] = 7e6
		r.pass(10 * time.Second)
		suction := r.values[drivers.SuctionPressure]
		for range 70 {
			above := r.values[drivers.DischargePressure] - suction
			r.values[drivers.DischargePressure] = suction + above*math.Pow(1-loss, 1.0/60)
			r.step()
		}
		start(r)
		r.pass(2 * time.Minute)
	}
}

// view gives where the pump's leak-down alarm stands.
func view(r *rig) alarm.View {
	all := r.state.Snapshot(r.set).Alarms
	return all[slices.IndexFunc(all, func(v alarm.View) bool { return v.Name == "leak_down" })]
}

func TestLeakDownIsJudgedAgainstWhatThePumpWas(t *testing.T) {
	r := newRig(t, nil)
	r.pass(2 * time.Minute)
	stops(r, 8, 0.10)
	stops(r, 3, 0.12)
	if got := r.state.Snapshot(r.set).LeakDown; !got.Known || math.Abs(got.Learned-0.10) > 0.01 || math.Abs(got.Limit-0.20) > 0.01 {
		t.Errorf("learned %+v, want 0.10 and a limit of 0.20", got)
	}
	if view(r).State != alarm.Normal {
		t.Error("raised by a pump that is as it was")
	}
	stops(r, 1, 0.5)
	if view(r).State != alarm.Normal {
		t.Error("raised by one bad stop")
	}
	stops(r, 1, 0.5)
	if a := view(r); a.State != alarm.Unacknowledged || a.Last.Notify != alarm.NextWorkingDay || a.Last.Value.Value < 0.4 {
		t.Errorf("after two of three bad stops: %+v", a)
	}
	stops(r, 3, 0.11)
	if a := view(r); a.State.Active() {
		t.Errorf("after three good stops: %v", a.State)
	}
}

func TestLeakDownIsLearnedApartForColdGlycol(t *testing.T) {
	r := newRig(t, nil)
	r.values[drivers.GlycolTemperature] = 70
	r.pass(2 * time.Minute)
	stops(r, 11, 0.5)
	r.values[drivers.GlycolTemperature] = 25
	stops(r, 11, 0.1)
	r.values[drivers.GlycolTemperature] = 70
	stops(r, 3, 0.5)
	if a := view(r); a.State != alarm.Normal {
		t.Errorf("hot glycol was held against cold: %+v", a)
	}
}
