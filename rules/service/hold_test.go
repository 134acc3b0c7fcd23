package service_test

import (
	"math/rand/v2"
	"testing"
	"time"

	"pumpside/drivers"
	"pumpside/rules/service"
)

// repaired is a repair with efficiency 0.92 healthy and 0.86 failing, and the
// first order 8 kPa and a vector change of 4.4 kPa, followed by minutes at some
// share of the way, with scatter.
func repaired(minutes int, way float64, beside float64) *service.Repair {
	r := rand.New(rand.NewPCG(2, 2))
	rep := &service.Repair{Record: 1, Task: "valves", At: at(spring, true), Marks: []service.Mark{
		{Name: "volumetric_efficiency", Healthy: service.Point{Re: 0.92}, Failing: service.Point{Re: 0.86}, Sigma: 0.004},
		{Name: "discharge_order_1", Healthy: service.Point{Re: 8e3}, Failing: service.Point{Re: 8e3, Im: 4.4e3}, Sigma: 1500},
	}}
	for range minutes {
		rep.Marks[0].Add(service.Point{Re: 0.92 - 0.06*way + 0.004*r.NormFloat64()})
		rep.Marks[1].Add(service.Point{Re: 8e3 + beside + 1500*r.NormFloat64(), Im: 4.4e3*way + 1500*r.NormFloat64()})
	}
	return rep
}

func TestDidTheRepairHold(t *testing.T) {
	quiet := repaired(300, 0, 0)
	for i := range quiet.Marks {
		quiet.Marks[i].Failing = quiet.Marks[i].Healthy
	}
	tests := []struct {
		name   string
		repair *service.Repair
		after  time.Duration
		want   service.Verdict
	}{
		{"back to healthy", repaired(300, 0, 0), 6 * time.Hour, service.Held},
		{"a little worn is held too", repaired(300, 0.2, 0), 6 * time.Hour, service.Held},
		{"still failing", repaired(300, 1, 0), 6 * time.Hour, service.NotHeld},
		{"three hours are too few", repaired(180, 0, 0), 4 * time.Hour, service.NotYet},
		{"halfway waits", repaired(300, 0.5, 0), 6 * time.Hour, service.NotYet},
		{"halfway after a day", repaired(1500, 0.5, 0), 26 * time.Hour, service.CannotTell},
		{"a fault that never showed", quiet, 6 * time.Hour, service.CannotTell},
		{"another fault", repaired(300, 0.3, 9e3), 6 * time.Hour, service.CannotTell},
		{"a pump that did not run for a month", repaired(0, 0, 0), 31 * 24 * time.Hour, service.CannotTell},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			if got := tt.repair.Judge(at(spring.Add(tt.after), true)); got.Verdict != tt.want {
				t.Errorf("judged %v (%+v), want %v", got.Verdict, got, tt.want)
			}
		})
	}
}

func TestABlockCountsOnce(t *testing.T) {
	var m service.Mark
	for range 3 {
		m.Add(service.Point{Re: 2})
	}
	m.Add(service.Point{Re: 4})
	if m.Blocks != 2 || m.Mean.Re != 3 {
		t.Errorf("mark %+v", m)
	}
}

func TestTheDiagnosisIsScoredByWhatWasFound(t *testing.T) {
	believed := &drivers.ServiceBelief{Component: "suction_valve", Cylinder: 2, Side: "suction", Probability: 0.7}
	record := func(n, cylinder int, side string, found service.Found) drivers.ServiceRecord {
		return drivers.ServiceRecord{Number: n, Believed: believed, Entry: drivers.ServiceEntry{Task: "valves", Cylinder: cylinder, Side: side, Found: string(found)}}
	}
	ledger := []drivers.ServiceRecord{
		record(1, 2, "suction", service.Leaking),   // right valve
		record(2, 2, "discharge", service.Leaking), // right head, wrong side
		record(3, 1, "suction", service.Broken),    // right side, wrong head
		record(4, 3, "discharge", service.Worn),    // wrong
		record(5, 2, "suction", service.Good),      // nothing was wrong there
		record(6, 2, "suction", service.NotExamined),
		record(7, 0, "", service.Leaking), // says not where
	}
	if got, want := service.Scored(ledger), (service.Score{Place: 1, Head: 1, Side: 1, Wrong: 1, Nothing: 1}); got != want {
		t.Errorf("score %+v, want %+v", got, want)
	}
	if rate, n := service.Scored(ledger).Rate(); rate != 0.2 || n != 5 {
		t.Errorf("hit rate %v of %d", rate, n)
	}
}

// TestOilTopUps: 100 h apart, half a litre each, then twice as much.
func TestOilTopUpsAreTrended(t *testing.T) {
	var ledger []drivers.ServiceRecord
	for i := range 11 {
		litres := 0.5
		if i > 7 {
			litres = 1
		}
		ledger = append(ledger, drivers.ServiceRecord{Number: i + 1, RunTime: time.Duration(i) * 100 * time.Hour, Entry: drivers.ServiceEntry{Task: "oil", Added: litres}})
	}
	got, known := service.OilUsed(ledger)
	if !known || got.Before != 5 || got.Lately != 10 || !got.Rising {
		t.Errorf("oil use %+v, %v", got, known)
	}
	if _, known := service.OilUsed(ledger[:3]); known {
		t.Error("two intervals make a trend")
	}
	for i := range ledger {
		ledger[i].RunTime = 5000 * time.Hour
	}
	if use, known := service.OilUsed(ledger); known {
		t.Errorf("top-ups at one hour make a trend: %+v", use)
	}
}

func TestTheLeakMustNotSayTheOpposite(t *testing.T) {
	before := service.Leak{Low: 0.06, Middle: 0.1, High: 0.15}
	gone, same := service.Leak{Low: 0.005, Middle: 0.01, High: 0.02}, service.Leak{Low: 0.07, Middle: 0.11, High: 0.16}
	tests := []struct {
		name    string
		verdict service.Verdict
		since   service.Leak
		want    service.Verdict
	}{
		{"well, and the leak gone", service.Held, gone, service.Held},
		{"well, but the leak still there", service.Held, same, service.CannotTell},
		{"as before, and so is the leak", service.NotHeld, same, service.NotHeld},
		{"as before, but the leak gone", service.NotHeld, gone, service.CannotTell},
		{"a leak nobody could size", service.Held, service.Leak{}, service.Held},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			j := service.Judgement{Verdict: tt.verdict}.Weigh(before, tt.since)
			if j.Verdict != tt.want || (j.Why != "") != (tt.want == service.CannotTell) {
				t.Errorf("%v (%s), want %v", j.Verdict, j.Why, tt.want)
			}
		})
	}
}
