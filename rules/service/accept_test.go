package service_test

import (
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"pumpside/drivers"
	"pumpside/rules/pump"
	"pumpside/rules/service"
)

// triplex is an invented pump that was watched for ten days of 20 h.
func triplex() *service.Pump {
	g := pump.Geometry{Cylinders: 3}
	tasks := []service.Task{
		{Name: "oil", Kind: service.Oil, RunTime: 2000 * time.Hour, FirstRunTime: 500 * time.Hour, DueSoon: 0.9, Overdue: 1.1},
		{Name: "valves", Kind: service.Valves, Strokes: 50e6, Positions: g.Valves(), DueSoon: 0.9, Overdue: 1.1},
		{Name: "diaphragms", Kind: service.Diaphragms, RunTime: 8000 * time.Hour, Positions: []pump.Position{{Cylinder: 1}, {Cylinder: 2}, {Cylinder: 3}}, DueSoon: 0.9, Overdue: 1.1},
	}
	p := &service.Pump{ID: "gp-1", Cylinders: 3, Tasks: tasks, Duty: &service.Duty{}}
	for _, t := range tasks {
		p.States = append(p.States, service.TaskState{Task: t.Name})
	}
	p.Totals = service.Totals{RunTime: 1000 * time.Hour, Strokes: 18e6}
	for day := range 11 {
		now := at(spring.AddDate(0, 0, day), true)
		p.Duty.Step(now, &p.Totals)
		for i := range p.States {
			p.States[i].Begin(&p.Tasks[i], now, &p.Totals)
		}
		if day < 10 {
			p.Totals.RunTime += 20 * time.Hour
			p.Totals.Strokes += 360_000
		}
	}
	service.Fold(p.Tasks, p.States, nil)
	return p
}

// watched is the moment up to which triplex was watched: at noon of day ten.
var watched = at(spring.AddDate(0, 0, 10), true)

func (r recorder) must(t *testing.T, e drivers.ServiceEntry) drivers.ServiceRecord {
	t.Helper()
	record, err := r.p.Accept(e, "d.moss", r.now)
	if err != nil {
		t.Fatal(err)
	}
	r.p.Ledger = append(r.p.Ledger, record)
	service.Fold(r.p.Tasks, r.p.States, r.p.Ledger)
	return record
}

// A recorder enters records at one moment.
type recorder struct {
	p   *service.Pump
	now drivers.Instant
}

func TestRefusalsGiveTheReason(t *testing.T) {
	hours := 900.0
	tests := []struct {
		name  string
		entry drivers.ServiceEntry
		want  string
	}{
		{"unknown task", drivers.ServiceEntry{Task: "gearbox"}, `there is no service task "gearbox" on this pump; it has oil, valves, diaphragms`},
		{"nothing said", drivers.ServiceEntry{}, `there is no service task "" on this pump; it has oil, valves, diaphragms`},
		{"unknown cylinder", drivers.ServiceEntry{Task: "valves", Cylinder: 4}, "there is no cylinder 4; this pump has cylinders 1 to 3"},
		{"unknown side", drivers.ServiceEntry{Task: "valves", Side: "left"}, `"left" is no side; use one of suction, discharge`},
		{"unknown action", drivers.ServiceEntry{Task: "valves", Action: "kicked"}, `"kicked" is no action; use one of done, replaced, cleaned, reseated, swapped, adjusted, topped_up, tested, inspected, no_fault_found`},
		{"in the future", drivers.ServiceEntry{Task: "oil", At: watched.Wall.Add(time.Hour)}, "2026-03-11 13:00Z lies in the future; the agent's clock says 2026-03-11 12:00Z"},
		{"before the agent saw it", drivers.ServiceEntry{Task: "oil", At: spring.AddDate(0, -1, 0)}, "the agent did not see this pump on 2026-02-01; say its run hours then (--run-hours)"},
		{"hours without a date", drivers.ServiceEntry{Task: "oil", RunHours: &hours}, "run hours at the time of the work need that time too (--at)"},
		{"swap with nothing", drivers.ServiceEntry{Task: "valves", Action: service.Swapped}, "a swap needs the other place, and nothing else does"},
		{"negative litres", drivers.ServiceEntry{Task: "oil", Added: -1}, "oil topped up: -1 is not between 0 and 10000"},
		{"undo of nothing", drivers.ServiceEntry{Undoes: 7}, "there is no record 7 of this pump; it has 0"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			_, err := triplex().Accept(tt.entry, "d.moss", watched)
			if err == nil || err.Error() != tt.want {
				t.Errorf("refusal %v\n   want %s", err, tt.want)
			}
		})
	}
}

func TestWithoutAClockNobodyKnowsWhenYesterdayWas(t *testing.T) {
	_, err := triplex().Accept(drivers.ServiceEntry{Task: "oil", At: spring}, "d.moss", at(time.Unix(90, 0), false))
	if err == nil || !strings.HasPrefix(err.Error(), "the agent's clock is not set") {
		t.Errorf("error %v", err)
	}
}

// TestBackDatedHoursComeFromHistory: at noon of day 7 the pump had run seven
// days of 20 h, for it is watched from noon to noon and spread over days.
func TestBackDatedHoursComeFromHistory(t *testing.T) {
	r := recorder{triplex(), watched}
	got := r.must(t, drivers.ServiceEntry{Task: "oil", At: spring.AddDate(0, 0, 6).Add(12 * time.Hour)})
	if want := 1000*time.Hour + 7*20*time.Hour; got.RunTime != want || got.Counted != service.FromHistory || got.Strokes != 18e6+7*360_000 {
		t.Errorf("run time %v (%s), strokes %v; want %v", got.RunTime, got.Counted, got.Strokes, want)
	}
	life := r.p.Tasks[0].Used(&r.p.States[0].Places[0], &r.p.Totals, watched)
	if life.Spent != 60*3600 {
		t.Errorf("spent %v s since, want 60 h", life.Spent)
	}
}

func TestWorkBeforeTheAgentTakesTheHoursTold(t *testing.T) {
	r, hours := recorder{triplex(), watched}, 600.0
	got := r.must(t, drivers.ServiceEntry{Task: "oil", At: spring.AddDate(0, -3, 0), RunHours: &hours})
	if got.RunTime != 600*time.Hour || got.Counted != service.FromTold || got.Strokes != 21.6e6*600/1200 {
		t.Errorf("run time %v, strokes %v, %s", got.RunTime, got.Strokes, got.Counted)
	}
}

func TestPanelHoursThatGoBackwardsAreKeptAsDisputed(t *testing.T) {
	r, first, second := recorder{triplex(), watched}, 2210.0, 2190.0
	r.must(t, drivers.ServiceEntry{Task: "oil", PanelHours: &first, At: watched.Wall.Add(-48 * time.Hour)})
	got := r.must(t, drivers.ServiceEntry{Task: "oil", PanelHours: &second})
	if got.Disputed != "the panel showed 2190 h, but 2210 h before that on 2026-03-09" || *got.Entry.PanelHours != 2190 || got.RunTime != 1200*time.Hour {
		t.Errorf("disputed %q, panel %v, counted %v", got.Disputed, *got.Entry.PanelHours, got.RunTime)
	}
}

func TestRecordIsAboutItsPlaces(t *testing.T) {
	r := recorder{triplex(), watched}
	r.must(t, drivers.ServiceEntry{Task: "valves", Action: service.Replaced, Cylinder: 2, Side: "suction"})
	r.must(t, drivers.ServiceEntry{Task: "valves", Action: service.Inspected})
	r.must(t, drivers.ServiceEntry{Task: "diaphragms", Cylinder: 3})
	counts := func(i int) (list []int) {
		for _, d := range r.p.States[i].Places {
			list = append(list, d.Count)
		}
		return list
	}
	if d := cmp.Diff([][]int{{0, 0, 1, 0, 0, 0}, {0, 0, 1}}, [][]int{counts(1), counts(2)}); d != "" {
		t.Errorf("renewals by place (-want +got):\n%s", d)
	}
}

func TestOnePartOfManyCountedAsOneRenewsNothing(t *testing.T) {
	r := recorder{triplex(), watched}
	r.must(t, drivers.ServiceEntry{Task: "oil", Cylinder: 2})
	if got := r.p.States[0].Places[0].Count; got != 0 {
		t.Errorf("renewed %d times", got)
	}
}

func TestSwappedPartsKeepTheirAge(t *testing.T) {
	r := recorder{triplex(), watched}
	r.must(t, drivers.ServiceEntry{Task: "valves", Cylinder: 1, Side: "suction"})
	r.must(t, drivers.ServiceEntry{Task: "valves", Action: service.Swapped, Cylinder: 1, Side: "suction", Swapped: &drivers.ServicePlace{Cylinder: 3, Side: "suction"}})
	if places := r.p.States[1].Places; places[0].Count != 0 || places[4].Count != 1 {
		t.Errorf("after the swap the new valve is not at cylinder 3: %+v", places)
	}
}

func TestUndoBringsTheLifeBack(t *testing.T) {
	r := recorder{triplex(), watched}
	before := r.p.Tasks[0].Used(&r.p.States[0].Places[0], &r.p.Totals, watched)
	n := r.must(t, drivers.ServiceEntry{Task: "oil"}).Number
	undo := r.must(t, drivers.ServiceEntry{Undoes: n, Note: "wrong pump"})
	if after := r.p.Tasks[0].Used(&r.p.States[0].Places[0], &r.p.Totals, watched); after != before {
		t.Errorf("life after the undo %+v, before %+v", after, before)
	}
	for n, want := range map[int]string{n: "record 1 was already taken back", undo.Number: "record 2 is itself an undo; record the work again instead"} {
		if _, err := r.p.Accept(drivers.ServiceEntry{Undoes: n}, "d.moss", watched); err == nil || err.Error() != want {
			t.Errorf("undo of %d: %v", n, err)
		}
	}
}

// TestOilRunsInAgain: 500 h run-in is common practice, no source.
func TestOilRunsInAgainAfterTheHydraulicEndWasRepaired(t *testing.T) {
	r := recorder{triplex(), watched}
	limit := func() float64 {
		return r.p.Tasks[0].Used(&r.p.States[0].Places[0], &r.p.Totals, r.now).Limit / 3600
	}
	r.must(t, drivers.ServiceEntry{Task: "oil"})
	if got := limit(); got != 2000 {
		t.Fatalf("after the first change the interval is %v h", got)
	}
	r.must(t, drivers.ServiceEntry{Task: "diaphragms", HydraulicEnd: true})
	r.must(t, drivers.ServiceEntry{Task: "oil"}) // with the repair
	if got := limit(); got != 500 {
		t.Errorf("after the repair the interval is %v h, want 500", got)
	}
	r.p.Totals.RunTime += 480 * time.Hour
	r.must(t, drivers.ServiceEntry{Task: "oil"})
	if got := limit(); got != 2000 {
		t.Errorf("after the run-in change the interval is %v h, want 2000", got)
	}
}

// TestCoded: the codes of ISO 14224:2016, Annex B.
func TestCoded(t *testing.T) {
	tests := []struct {
		part            pump.Component
		found           service.Found
		mode, mechanism string
	}{
		{pump.SuctionValve, service.Leaking, "INL", "2.4"},
		{pump.DischargeValve, service.Sticking, "INL", "1.6"},
		{pump.Diaphragm, service.Cracked, "INL", "2.6"},
		{pump.Diaphragm, service.Burst, "INL", "2.8"},
		{pump.ShaftSeal, service.Leaking, "ELU", "2.4"},
		{pump.ManifoldSeal, service.LeakingOutside, "ELP", "1.1"},
		{pump.PressureReliefLine, service.OutOfAdjustment, "PDE", "1.3"},
		{pump.Strainer, service.Plugged, "PLU", "5.1"},
		{pump.SuctionValve, service.Good, "", ""},
		{pump.SuctionValve, service.NotExamined, "", ""},
		{pump.SuctionValve, "odd", "UNK", "6.4"},
	}
	for _, tt := range tests {
		t.Run(string(tt.part)+" "+string(tt.found), func(t *testing.T) {
			if mode, mechanism := service.Coded(tt.part, tt.found); mode != tt.mode || mechanism != tt.mechanism {
				t.Errorf("coded %q %q, want %q %q", mode, mechanism, tt.mode, tt.mechanism)
			}
		})
	}
}

// The oil had aged 1200 h when it was changed at 1000 h and 1600 h at 1200 h: at
// 1140 h seven tenths of the way, and the record says that this was not counted.
func TestWeightedUseOfYesterdayIsEstimatedFromTheRecordsAround(t *testing.T) {
	p := triplex()
	p.Tasks[0].Warm = service.Warm{Base: 60, Step: 10}
	p.States[0].Wear = service.Wear{From: &service.Totals{}, WarmTime: 1600 * time.Hour}
	p.Ledger = []drivers.ServiceRecord{{Number: 1, RunTime: 1000 * time.Hour, WarmTime: 1200 * time.Hour, Entry: drivers.ServiceEntry{Task: "oil", Action: service.Performed}}}
	r := recorder{p, watched}
	got := r.must(t, drivers.ServiceEntry{Task: "oil", At: spring.AddDate(0, 0, 6).Add(12 * time.Hour)})
	if got.RunTime != 1140*time.Hour || got.WarmTime != 1480*time.Hour || got.Estimated != service.EstimatedWeights {
		t.Errorf("run time %v, weighted %v, estimated %q", got.RunTime, got.WarmTime, got.Estimated)
	}
	if now := r.must(t, drivers.ServiceEntry{Task: "oil"}); now.WarmTime != 1600*time.Hour || now.Estimated != "" {
		t.Errorf("now: weighted %v, estimated %q; it was counted", now.WarmTime, now.Estimated)
	}
}
