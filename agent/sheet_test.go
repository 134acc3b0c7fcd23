package main

import (
	"io"
	"strings"
	"testing"
	"time"

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

func TestPlanIsPlainText(t *testing.T) {
	_, p := planned(t)
	var b strings.Builder
	p.print(&b)
	for _, want := range []string{
		"VISIT by Wed 4 Mar 2026: about 3 h 45 min of work",
		"    diaphragms (cylinder 2): the diagnosis asks for it",
		"    oil: 96 % of its interval used, due 2026-03-11",
		"    open anyway: valves (cylinder 2 suction), 40 % used; decide there",
		"    bring 1 × diaphragm kit DK-40-1",
		"  oil: 12 L",
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
		"hot surface at the discharge", "Isolation point", "Stop, isolate from the process on every side", "<h3>Work</h3>", "pump maker&#39;s manual, edition 4",
		"the check valves are reachable now", "<td>valve cap</td><td>85 N·m</td><td>31</td>", "As found", "Rotation confirmed", "After 30 minutes", "Checked by", "Returned to operations",
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
	var b strings.Builder
	w := service.Window{Due: service.Forecast{Early: noon, Median: noon, Late: noon}}
	printedTo(&b, []dueTask{{"gp-1", rules.TaskView{Task: "run_in_oil_change", Status: service.Overdue, Life: service.Life{Used: 1.12, By: service.ByRunTime}, Window: w}}})
	for line := range strings.Lines(b.String()) {
		if n := len([]rune(strings.TrimRight(line, " \n"))); n > 50 {
			t.Errorf("%d columns: %s", n, line)
		}
	}
	if !strings.Contains(b.String(), "2026-03-01") || !strings.Contains(b.String(), "OVERDUE") {
		t.Errorf("table:\n%s", b.String())
	}
}

func printedTo(b *strings.Builder, list []dueTask) {
	_ = printed(b, false, nil, func(w io.Writer) { printTasks(w, list, false) })
}

func TestAskerAsksForWhatIsMissing(t *testing.T) {
	settings, _ := planned(t)
	var out strings.Builder
	e := answered(t, settings, &out, "gp-1\nvalves\n2\nsideways\nsuction\n2026-02-27 09:30\nreplaced\nleaking\n1210\n\n0.5 L\nspare from shelf\n")
	if e.Task != "valves" || e.Cylinder != 2 || e.Side != "suction" || e.Action != "replaced" || e.Found != "leaking" || *e.PanelHours != 1210 || e.Added != 0.5 || e.Filled != 0 || e.Note != "spare from shelf" || e.At.Minute() != 30 {
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
