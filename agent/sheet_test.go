package main

import (
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"pumpside/configs"
	"pumpside/drivers"
	"pumpside/rules"
	"pumpside/rules/alarm"
	"pumpside/rules/pump"
	"pumpside/rules/service"
)

var noon = time.Date(2026, 3, 1, 12, 0, 0, 0, time.UTC)

// planned is the plan for the reference's first pump with its oil due in ten
// days and one diaphragm suspected.
func planned(t *testing.T) (*configs.Config, sitePlan) {
	t.Helper()
	settings, err := configs.Load("reference.yaml", configs.Reference)
	if err != nil {
		t.Fatal(err)
	}
	at := func(days int) time.Time { return noon.AddDate(0, 0, days) }
	window := func(ripe, due int) service.Window {
		return service.Window{Ripe: at(ripe), Due: service.Forecast{Early: at(due - 3), Median: at(due), Late: at(due + 4), By: service.ByRunTime}, Last: at(due + 30)}
	}
	place := func(c int, side pump.Side, used float64, by service.Measure, w service.Window) rules.PlaceView {
		return rules.PlaceView{Position: pump.Position{Cylinder: c, Side: side}, Life: service.Life{Used: used, By: by}, Window: w}
	}
	b := serviceBook{At: noon, Pumps: []pumpBook{{Pump: "gp-1", RunHours: 9000, Tasks: []rules.TaskView{
		{Task: "oil", Life: service.Life{Used: 0.96, By: service.ByRunTime}, Window: window(-100, 10)},
		{Task: "valves", Places: []rules.PlaceView{
			place(1, pump.Suction, 0.4, service.ByWorn, window(300, 500)), place(2, pump.Suction, 0.4, service.ByWorn, window(300, 500)),
		}},
		{Task: "diaphragms", Places: []rules.PlaceView{place(2, 0, 1, service.ByCondition, window(0, 3))}},
	}}}}
	return settings, planOf(settings, &b, "", 90*24*time.Hour)
}

// TestNothingIsCalmWithoutAClock: without one no due date is known, which is not
// the same as that nothing falls due.
func TestNothingIsCalmWithoutAClock(t *testing.T) {
	settings, _ := planned(t)
	b := serviceBook{At: noon, Pumps: []pumpBook{{Pump: "gp-1", Tasks: []rules.TaskView{
		{Task: "oil", Life: service.Life{Used: 0.2, By: service.ByRunTime}, Window: service.Window{Due: service.Forecast{Why: service.NoClock}}},
	}}}}
	p := planOf(settings, &b, "", 90*24*time.Hour)
	var text, page strings.Builder
	p.print(&text, settings.Site.TimeZone)
	const want = "due dates are not known: the clock is not set; set the gateway's clock, or write site.clock: trusted where it is known to be right\n"
	if text.String() != want {
		t.Errorf("the plan says %q, want %q", text.String(), want)
	}
	if err := writeSheet(&page, settings, &p); err != nil || !strings.Contains(page.String(), "<p>Due dates are not known: the clock is not set.</p>") {
		t.Errorf("the sheet: %v\n%s", err, page.String())
	}
}

func TestPlanIsPlainText(t *testing.T) {
	settings, p := planned(t)
	var b strings.Builder
	p.print(&b, settings.Site.TimeZone)
	for _, want := range []string{
		"VISIT by Wed 4 Mar 2026: about 3 h 45 min of work",
		"    diaphragms (cylinder 2): the diagnosis asks for it",
		"    oil: 96 % of its interval used, due 2026-03-11",
		"    open anyway: valves (cylinder 2 suction), 40 % used; decide there",
		"    bring 1 × diaphragm kit DK-40-1",
		"    bring 12 L of ISO VG 100 hydraulic oil",
		"  oil in all: 12 L",
	} {
		if !strings.Contains(b.String(), want+"\n") {
			t.Errorf("the plan lacks %q:\n%s", want, b.String())
		}
	}
	if strings.Contains(b.String(), "cylinder 1") {
		t.Errorf("a valve that stays closed is offered:\n%s", b.String())
	}
	if caution, step := strings.Index(b.String(), alarm.Safety), strings.Index(b.String(), "diaphragms ("); caution < 0 || caution > step {
		t.Error("the caution does not stand before the work")
	}
}

func TestSheetHasWhatAVisitNeeds(t *testing.T) {
	settings, p := planned(t)
	var b strings.Builder
	if err := writeSheet(&b, settings, &p); err != nil {
		t.Fatal(err)
	}
	page := b.String()
	after := 0
	for _, want := range []string{ // in this order
		"P-7101A (gp-1)", "the diagnosis asks for it", "<td>diaphragm kit</td><td>DK-40-1</td><td>1</td>", "ISO VG 100 hydraulic oil", "torque wrench",
		"hot surface at the discharge", "Isolation point", "Stop, isolate from the process on every side", "Hold points before work", "both sides of the line check valve", "<h3>Work</h3>", "pump maker&#39;s manual, edition 4",
		"the check valves are reachable now", "<td>valve cap</td><td>85 N·m</td><td>31</td>", "As found", "Hold points before and at the start", "Guards on, tools out", "Relief valve in service", "Suction and discharge open", "Everyone clear, locks off by those who set them",
		"Oil cells primed unloaded", "Rotation confirmed", "Leak check at pressure, from a distance", "After 30 minutes", "Checked by", "Returned to operations",
	} {
		at := strings.Index(page[after:], want)
		if at < 0 {
			t.Fatalf("the sheet lacks %q after what comes before it:\n%s", want, page)
		}
		after += at
	}
	for _, never := range []string{"<script", "http://", "https://", "src="} {
		if strings.Contains(page, never) {
			t.Errorf("the sheet has %q: it must print without a network", never)
		}
	}
}

// A sample is taken while the pump runs: nobody is told to isolate it first.
func TestWorkAtARunningPumpHasItsOwnCaution(t *testing.T) {
	settings, p := planned(t)
	v := &p.Visits[0]
	v.Opens, v.Pumps[0].Jobs = false, []service.Job{{Pump: "gp-1", Task: "glycol_sample", Kind: service.GlycolSample, At: []service.PlaceDue{{Used: 1}}}}
	p.Visits = p.Visits[:1]
	var text, page strings.Builder
	p.print(&text, settings.Site.TimeZone)
	if err := writeSheet(&page, settings, &p); err != nil {
		t.Fatal(err)
	}
	for name, got := range map[string]string{"plan": text.String(), "sheet": page.String()} {
		if !strings.Contains(got, "The pump runs for this work") || strings.Contains(got, "lock out") || strings.Contains(got, "Isolated, locked") {
			t.Errorf("the %s has another caution:\n%s", name, got)
		}
	}
}

func TestSheetIsInTheZoneOfTheSite(t *testing.T) {
	settings, p := planned(t)
	denver, err := time.LoadLocation("America/Denver")
	if err != nil {
		t.Fatal(err)
	}
	settings.Site.TimeZone = denver
	var b strings.Builder
	if err := writeSheet(&b, settings, &p); err != nil {
		t.Fatal(err)
	}
	if want := "2026-03-01 05:00 MST"; !strings.Contains(b.String(), want) { // noon in UTC
		t.Errorf("the sheet lacks %q:\n%.1500s", want, b.String())
	}
}

func TestNamesInTheSheetAreText(t *testing.T) {
	settings, p := planned(t)
	settings.Pumps[0].Tag = "<b>P</b>"
	for i := range p.Visits[0].Pumps {
		p.Visits[0].Pumps[i].Tag = "<b>P</b>"
	}
	var b strings.Builder
	if err := writeSheet(&b, settings, &p); err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(b.String(), "&lt;b&gt;P") || strings.Contains(b.String(), "<b>P") {
		t.Error("a tag becomes markup")
	}
}

func TestDueFitsATelephone(t *testing.T) {
	exact := service.Window{Due: service.Forecast{Early: noon, Median: noon, Late: noon}}
	latest, none := exact, service.Window{Due: service.Forecast{Why: service.NoHistory}}
	latest.Due.AtLatest, latest.Due.Soonest = true, time.Date(2026, 2, 1, 12, 0, 0, 0, time.UTC)
	list := []dueTask{
		{"gp-1", rules.TaskView{Task: "run_in_oil_change", Status: service.Overdue, Life: service.Life{Used: 1.12, By: service.ByRunTime}, Window: exact}},
		{"gp-1", rules.TaskView{Task: "valves", Life: service.Life{Used: 0.42, By: service.ByRunTime}, Window: latest}},
		{"gp-1", rules.TaskView{Task: "seals", Life: service.Life{Used: 0.4, By: service.ByRunTime}, Window: none}},
	}
	tests := []struct {
		name    string
		columns int
		want    string
	}{
		{"all columns", 200, `
PUMP  TASK               STATUS   USED   OF       DUE                 LIKELY (8 OF 10)
gp-1  run_in_oil_change  overdue  112 %  0 h run  2026-03-01          -
gp-1  valves             in_life  42 %   0 h run  latest 2026-03-01   no sooner than 2026-02-01
gp-1  seals              in_life  40 %   0 h run  not enough history  -
`},
		{"what a telephone shows", 60, `
PUMP  TASK               USED   DUE
gp-1  run_in_oil_change  112 %  2026-03-01          OVERDUE
gp-1  valves             42 %   latest 2026-03-01
gp-1  seals              40 %   not enough history
`},
		{"two lines a task", 40, `
gp-1 run_in_oil_change: 112 % used
  OVERDUE 2026-03-01
gp-1 valves: 42 % used
  latest 2026-03-01
gp-1 seals: 40 % used
  not enough history
`},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			var b strings.Builder
			if err := printDue(&b, list, time.UTC, tt.columns); err != nil {
				t.Fatal(err)
			}
			var got strings.Builder
			for line := range strings.Lines("\n" + b.String()) {
				got.WriteString(strings.TrimRight(line, " \n") + "\n")
			}
			if diff := cmp.Diff(tt.want, got.String()); diff != "" {
				t.Errorf("table (-want +got):\n%s", diff)
			}
		})
	}
}

func TestAskerAsksForWhatIsMissing(t *testing.T) {
	settings, _ := planned(t)
	var out strings.Builder
	e := answered(t, settings, &out, "gp-1\nvalves\n2\nsideways\nsuction\n2026-02-27 09:30\nreplaced\nfinding\nleaking\n1210\n\n0.5 L\nspare from shelf\n")
	if e.Task != "valves" || e.Cylinder != 2 || e.Side != "suction" || e.Action != "replaced" || e.Reason != "finding" || e.Found != "leaking" || *e.PanelHours != 1210 || e.Added != 0.5 || e.Filled != 0 || e.Note != "spare from shelf" || e.At.Minute() != 30 {
		t.Errorf("entry %+v", e)
	}
	if !strings.Contains(out.String(), `"sideways" is not one of them`) {
		t.Errorf("a wrong word passes:\n%s", out.String())
	}
}

func TestAskerStopsWhenTheInputEnds(t *testing.T) {
	settings, _ := planned(t)
	var out strings.Builder
	if _, err := newAsker(strings.NewReader("gp-1\n"), &out).record(settings, "", new(drivers.ServiceEntry)); err == nil {
		t.Error("half an answer is taken for a record")
	}
}

func answered(t *testing.T, settings *configs.Config, out *strings.Builder, answers string) drivers.ServiceEntry {
	t.Helper()
	var e drivers.ServiceEntry
	if _, err := newAsker(strings.NewReader(answers), out).record(settings, "", &e); err != nil {
		t.Fatal(err)
	}
	return e
}
