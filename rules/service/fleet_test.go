package service_test

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"pumpside/drivers"
	"pumpside/rules/pump"
	"pumpside/rules/service"
)

var diaphragm = service.Task{Name: "diaphragms", Kind: service.Diaphragms, Positions: []pump.Position{{Cylinder: 1}, {Cylinder: 2}, {Cylinder: 3}}}

// changed is a record of a diaphragm of cylinder 1 renewed at those hours.
func changed(n int, hours float64, found service.Found) drivers.ServiceRecord {
	return drivers.ServiceRecord{
		Number: n, RunTime: time.Duration(hours * float64(time.Hour)),
		Entry: drivers.ServiceEntry{Task: "diaphragms", Action: service.Replaced, Cylinder: 1, Found: string(found)},
	}
}

// of one failure mode, "" for any.
func of(t *testing.T, list []service.PartLife, mode string) service.PartLife {
	t.Helper()
	for _, l := range list {
		if l.Mode == mode {
			return l
		}
	}
	t.Fatalf("no life of mode %q in %+v", mode, list)
	return service.PartLife{}
}

func TestLivesCountWhatTheyShould(t *testing.T) {
	fleet := service.Fleet{{
		Tasks: []service.Task{diaphragm}, Now: service.Totals{RunTime: 9000 * time.Hour},
		Ledger: []drivers.ServiceRecord{
			changed(1, 1000, service.Burst),   // how old it was nobody knows
			changed(2, 4000, service.Cracked), // 3000 h, failed
			changed(3, 4050, service.Leaking), // 50 h: infant
			changed(4, 7000, service.Good),    // changed in good state
		}, // and 2000 h still at work
	}}
	got := of(t, fleet.Lives(), "")
	if got.Part != pump.Diaphragm || got.Failures != 1 || got.Infants != 1 || got.Suspended != 2 || got.Fit != nil {
		t.Errorf("lives %+v", got)
	}
	if want := "1 failed: too few to say anything before there are 5"; got.Says != want {
		t.Errorf("says %q, want %q", got.Says, want)
	}
}

func TestOneModeSuspendsTheOthers(t *testing.T) {
	var fleet service.Fleet
	for i, found := range []service.Found{service.Cracked, service.LeakingOutside, service.Cracked, service.LeakingOutside, service.Cracked, service.Cracked, service.Cracked} {
		fleet = append(fleet, service.FleetPump{
			Tasks: []service.Task{diaphragm}, Now: service.Totals{RunTime: 10_000 * time.Hour},
			Ledger: []drivers.ServiceRecord{changed(1, 0, service.Good), changed(2, 10_000-200*float64(i), found)},
		})
	}
	list := fleet.Lives()
	if inner, outer := of(t, list, "INL"), of(t, list, "ELU"); inner.Failures != 5 || inner.Fit == nil || inner.Fit.Suspended < 2 || outer.Failures != 2 || outer.Fit != nil {
		t.Errorf("INL %+v\nELU %+v", inner, outer)
	}
}

// drawn is a fleet of 40 pumps whose diaphragms live by a Weibull distribution.
func drawn(shape, life float64) (fleet service.Fleet) {
	r := rand.New(rand.NewPCG(5, 5))
	for range 40 {
		p := service.FleetPump{Tasks: []service.Task{diaphragm}, Now: service.Totals{RunTime: 30_000 * time.Hour}, Ledger: []drivers.ServiceRecord{changed(1, 0, service.Good)}}
		for n, hours := 2, 0.0; ; n++ {
			if hours += life * math.Pow(r.ExpFloat64(), 1/shape); hours > 30_000 {
				break
			}
			p.Ledger = append(p.Ledger, changed(n, hours, service.Cracked))
		}
		fleet = append(fleet, p)
	}
	return fleet
}

func TestWearOutSuggestsAnInterval(t *testing.T) {
	got := of(t, drawn(3, 8000).Lives(), "INL")
	truth := service.Weibull{Shape: 3, Life: 8000}
	if got.Suggested != got.B10 || got.Bounds.Low > truth.By(0.1) || got.Bounds.High < truth.By(0.1) || got.ShapeIn.Low > 3 || got.ShapeIn.High < 3 {
		t.Errorf("lives %+v, true B10 %.0f h", got, truth.By(0.1))
	}
}

func TestEarlyFailuresSuggestNoInterval(t *testing.T) {
	got := of(t, drawn(0.7, 8000).Lives(), "INL")
	if want := "old parts fail less often than new ones: more frequent changing makes it worse"; got.Suggested != 0 || got.Says != want {
		t.Errorf("suggests %v h: %s", got.Suggested, got.Says)
	}
	if got.Infants == 0 {
		t.Error("no infant failures are kept apart")
	}
}

// Parts whose interval is in strokes age by strokes, and a swap takes the age
// along: the valve of cylinder 1 worked 10 million strokes there and 20 in
// cylinder 2, whatever the hours say.
func TestPartsAgeInTheUnitOfTheirInterval(t *testing.T) {
	valves := service.Task{Name: "valves", Kind: service.Valves, Strokes: 50e6, Positions: []pump.Position{{Cylinder: 1, Side: pump.Suction}, {Cylinder: 2, Side: pump.Suction}}}
	line := func(n int, hours int, strokes float64, e drivers.ServiceEntry) drivers.ServiceRecord {
		e.Task, e.Side = "valves", "suction"
		return drivers.ServiceRecord{Number: n, RunTime: time.Duration(hours) * time.Hour, Strokes: strokes, Entry: e}
	}
	fleet := service.Fleet{{
		Tasks: []service.Task{valves}, Now: service.Totals{RunTime: 9000 * time.Hour, Strokes: 60e6},
		Ledger: []drivers.ServiceRecord{
			line(1, 1000, 10e6, drivers.ServiceEntry{Cylinder: 1, Action: service.Replaced}),
			line(2, 2000, 20e6, drivers.ServiceEntry{Cylinder: 1, Action: service.Swapped, Swapped: &drivers.ServicePlace{Cylinder: 2, Side: "suction"}}),
			line(3, 8000, 40e6, drivers.ServiceEntry{Cylinder: 2, Action: service.Replaced, Found: string(service.Leaking)}),
		},
	}}
	got := of(t, fleet.Lives(), "")
	if got.Unit != service.InStrokes || got.Failures != 1 || got.Suspended != 1 || got.Write(30e6) != "30 million strokes" {
		t.Errorf("lives %+v", got)
	}
}
