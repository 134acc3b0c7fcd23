package rules

import (
	"math"
	"testing"
	"time"

	"pumpside/drivers"
	"pumpside/rules/alarm"
	"pumpside/rules/counters"
	"pumpside/rules/diagnosis"
	"pumpside/rules/pump"
	"pumpside/rules/service"
)

// askedState is a pump with valves and a shaft seal in their life, whose
// diagnosis is nine tenths sure of a loss in the suction half of cylinder 2:
// discharge valve 0.5, seat seal 0.2 of that, which the valves' task renews.
func askedState(t *testing.T, visit bool) (*Settings, *State) {
	t.Helper()
	g := pump.Geometry{Cylinders: 3}
	set, err := Settings{
		Pump: "gp-1", Geometry: g,
		Counters: counters.Settings{Installed: counters.SignalsOf(drivers.MotorSpeed), Ratio: 5, RatedSpeed: 1450},
		Signals:  []SignalSettings{{Signal: drivers.MotorSpeed}, {Signal: drivers.DischargePressure}},
		Tasks: []service.Task{
			{Name: "valves", Kind: service.Valves, Positions: g.Valves(), RunTime: 4000 * time.Hour, DueSoon: 0.9, Overdue: 1.1},
			{Name: "shaft_seal", Kind: service.ShaftSeal, RunTime: 8000 * time.Hour, DueSoon: 0.9, Overdue: 1.1},
		},
	}.Checked()
	if err != nil {
		t.Fatal(err)
	}
	s, _ := Start(set, nil)
	s.moment.At = drivers.Instant{Wall: time.Date(2026, 3, 1, 12, 0, 0, 0, time.UTC), Boot: "b", Synchronized: true}
	s.observer.visit = visit
	s.observer.ranking = &diagnosis.Ranking{Causes: []diagnosis.Ranked{{Cause: diagnosis.LossInSuctionHalf, Cylinder: 2, Probability: 0.9}}}
	return set, s
}

func TestAFindingAsksForItsTaskOnce(t *testing.T) {
	set, s := askedState(t, true)
	c := judgeAsked(0)(set, s, 0)
	if c.Holds != alarm.Yes || math.Abs(c.Value-0.9*0.7) > 1e-9 {
		t.Errorf("valves: %+v, want asked for with 0.63", c)
	}
	if c := judgeAsked(1)(set, s, 0); c.Holds != alarm.No {
		t.Errorf("shaft seal: %+v, want not asked for", c)
	}
	views := s.taskViews(set)
	if v := views[0]; v.Status != service.Due || v.Life.By != service.ByCondition || v.Places[3].Position != (pump.Position{Cylinder: 2, Side: pump.Discharge}) || v.Places[3].Life.By != service.ByCondition || v.Places[1].Life.By == service.ByCondition {
		t.Errorf("valves %+v", v)
	}
	var names []string
	for _, d := range set.Definitions() {
		if d.Text == "service_asked" {
			names = append(names, d.Name)
		}
	}
	if len(names) != 1 || names[0] != "valves_asked" {
		t.Errorf("advisories %v: no finding can point at a shaft seal", names)
	}
	if n := testing.AllocsPerRun(100, func() { judgeAsked(0)(set, s, 0) }); n != 0 {
		t.Errorf("%v allocations a step", n)
	}
}

func TestAFindingThatAdvisesNoVisitAsksForNothing(t *testing.T) {
	set, s := askedState(t, false)
	if c := judgeAsked(0)(set, s, 0); c.Holds != alarm.No {
		t.Errorf("%+v", c)
	}
	s.observer.ranking = nil // nothing was judged in this life of the process
	if c := judgeAsked(0)(set, s, 0); c.Holds != alarm.Unknown {
		t.Errorf("after a restart %+v, want neither raised nor cleared", c)
	}
	s.moment.Logic = alarm.AfterService
	if c := judgeAsked(0)(set, s, 0); c.Holds != alarm.No {
		t.Errorf("after service %+v, want over", c)
	}
}

// A leak of 10 % that grows by 1 % a day, between 0.5 and 2 %, has 20 days of
// running to 30 %.
func TestTheCourseOfALeakLeadsToADate(t *testing.T) {
	set, s := askedState(t, true)
	s.observer.trends = []IndicatorTrend{{Indicator: LeakCourse, Clear: true, Last: 0.1, Slope: 0.01, Low: 0.005, High: 0.02, Limit: 0.3}}
	day := 24 * time.Hour
	if got, want := s.course(LeakCourse), (service.Course{Known: true, Early: 10 * day, Median: 20 * day, Late: 40 * day}); got != want {
		t.Errorf("course %+v, want %+v", got, want)
	}
	due := s.taskViews(set)[0].Window.Due
	if got := due.Median.Sub(s.moment.At.Wall); got != 20*day { // no days to tell the pace from: as if it ran through
		t.Errorf("due in %v, want 20 days", got)
	}
	s.observer.trends[0].Slope, s.observer.trends[0].Low, s.observer.trends[0].High = -0.01, -0.02, -0.005
	if got := s.course(LeakCourse); got.Known {
		t.Errorf("a leak that gets less leads to %+v", got)
	}
	s.observer.trends[0] = IndicatorTrend{Indicator: EfficiencyCourse, Clear: true, Last: 0.79, Slope: -0.01, Low: -0.02, High: -0.005, Limit: 0.8}
	if got := s.course(EfficiencyCourse); got != (service.Course{Known: true}) {
		t.Errorf("beyond the limit %+v, want no time left", got)
	}
}

// Four weeks of 0.2 L in a hundred hours and then three of 0.4 L.
func TestOilThatGoesFasterIsAdvised(t *testing.T) {
	set, s := askedState(t, false)
	s.observer.ranking = nil
	for n := range 8 {
		litres := 0.2
		if n > 4 {
			litres = 0.4
		}
		if c := judgeOilUse(set, s, 0); n < 7 && c.Holds != alarm.No {
			t.Fatalf("before top-up %d: %+v", n, c)
		}
		run := time.Duration(n) * 100 * time.Hour
		s.Ledger = append(s.Ledger, drivers.ServiceRecord{Number: n + 1, RunTime: run, Entry: drivers.ServiceEntry{Added: litres}})
		s.fold(set)
	}
	if c := judgeOilUse(set, s, 0); c.Holds != alarm.Yes || s.oilUse.Before != 2 || math.Abs(s.oilUse.Lately-4) > 1e-9 {
		t.Errorf("%+v, use %+v", c, s.oilUse)
	}
}
