package rules_test

import (
	"math"
	"slices"
	"testing"
	"time"

	"pumpside/drivers"
	"pumpside/rules"
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

// A leak that shows only while the glycol is hot stands while stops come hot
// and cold in turn, and ends when the hot ones show it gone.
func TestALeakSeenHotIsHeldOverColdStops(t *testing.T) {
	r := newRig(t, nil)
	at := func(glycol float64, n int, loss float64) {
		r.values[drivers.GlycolTemperature] = glycol
		stops(r, n, loss)
	}
	const hot, cold = 70, 25
	r.values[drivers.GlycolTemperature] = hot
	r.pass(2 * time.Minute)
	at(hot, 11, 0.05)
	at(cold, 11, 0.05)
	at(hot, 3, 0.5)
	for i := range 3 {
		at(cold, 1, 0.05)
		a := view(r)
		if a.State != alarm.Unacknowledged || a.Last.Value.Value < 0.4 {
			t.Fatalf("after cold stop %d: %+v", i+1, a)
		}
		at(hot, 1, 0.5)
	}
	raised := 0
	for _, e := range r.events {
		if e.Alarm == "leak_down" && e.Kind == alarm.Raised {
			raised++
		}
	}
	if raised != 1 {
		t.Errorf("raised %d times, want once", raised)
	}
	at(hot, 3, 0.05)
	if a := view(r); a.State.Active() {
		t.Errorf("after three good hot stops: %v", a.State)
	}
}

// A state file may hold anything: what no pump can have counted is put right.
func TestLeakDownOfADamagedFileIsPutRight(t *testing.T) {
	for _, text := range []string{
		`{"was":9,"count":1}`, `{"was":-1,"count":-7}`, `{"count":-1,"bands":[{"count":-3}]}`, `{"count":9223372036854775807,"bands":[{"count":9223372036854775807}]}`,
	} {
		saved, err := rules.Unmarshal([]byte(`{"version":1,"watch":{"leak_down":` + text + `}}`))
		if err != nil {
			t.Fatal(err)
		}
		r := newRig(t, nil)
		r.state, _ = rules.Start(r.set, saved)
		r.pass(2 * time.Minute)
		stops(r, 4, 0.1)
		if got := r.state.Snapshot(r.set).LeakDown; got == nil || got.Newest < 0.05 || got.Newest > 0.15 {
			t.Errorf("%s: %+v", text, got)
		}
	}
}
