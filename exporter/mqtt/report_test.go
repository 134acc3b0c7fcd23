package mqtt

import (
	"encoding/json"
	"testing"
	"time"

	"pumpside/drivers"
	"pumpside/rules"
	"pumpside/rules/alarm"
	"pumpside/rules/report"
)

// aReport is one of everything.
func aReport() *report.Report {
	noon := time.Date(2026, 3, 1, 12, 0, 0, 0, time.UTC)
	x, who := 12.5, "a.operator"
	return &report.Report{
		Instant: instant(0), Title: "Ridge Station 7", At: noon, Since: noon.Add(-24 * time.Hour), ClockGood: true,
		Needs:       []report.Need{{Pump: "gp-1", Tag: "P-1A", Urgency: report.Today, Rank: 20, By: "mechanic", Since: noon, Why: []string{"oil overdue"}, Kit: []string{"12 L of oil"}}},
		Groups:      []report.Group{{Group: "north", Title: "north", Moves: alarm.Yes, Wanted: alarm.Yes, WantedBy: "gas_flow", Gas: alarm.Yes, Delivering: 1, Required: 1, Spare: drivers.StandbyAvailable, Flow: &x}},
		Pumps:       []report.Pump{{Pump: "gp-1", Tag: "P-1A", Mode: rules.Running, ForSeconds: &x, Wanted: alarm.Yes, WantedBy: "run_demand", Available: alarm.Yes, CountedSince: &noon, Run: &x}},
		Changes:     []report.Change{{At: noon, Pump: "gp-1", Event: "acknowledged", Text: "seen", User: &who}},
		Standing:    []report.Standing{{Pump: "gp-1", Alarm: "oil_overdue", Class: "advisory", Priority: "low", State: "acknowledged", Since: noon, Text: "oil overdue"}},
		Silenced:    []report.Silenced{{Pump: "gp-1", Alarm: "oil_overdue", How: "shelved", By: who, Until: &noon}},
		Due:         []report.Due{{Pump: "gp-1", Tag: "P-1A", Task: "oil", Title: "oil", Status: "overdue", Used: 1.2, At: &noon, Parts: "12 L of oil"}},
		Silent:      []string{"drive-1"},
		Performance: report.Performance{Alarms: 1, PerPumpMonth: &x, Frequent: []report.Frequent{{Pump: "gp-1", Alarm: "no_flow", Count: 2, Share: 0.5}}},
	}
}

func TestReportPayloadIsAsItsSchemaSays(t *testing.T) {
	p := publisher(newBox())
	for _, r := range []*report.Report{aReport(), {
		Needs: []report.Need{}, Groups: []report.Group{}, Pumps: []report.Pump{{}}, Changes: []report.Change{}, Standing: []report.Standing{}, Silenced: []report.Silenced{},
		Due: []report.Due{}, Silent: []string{}, Performance: report.Performance{Frequent: []report.Frequent{}},
	}} {
		if problems := validate(t, loadSchema(t, "report"), p.reportPayload(r)); len(problems) > 0 {
			t.Errorf("%v\n%s", problems, p.reportPayload(r))
		}
	}
}

func TestReportStandsAtTheBrokerUntilANewOne(t *testing.T) {
	var m mail
	b := startEmbedded(t, "", &m)
	defer b.stop(t)
	p := publisher(newBox())
	p.Settings.Broker = "tcp://" + b.address
	r := aReport()
	p.View = func() View { return View{Report: r} }
	stop := run(t, p)
	defer stop()
	topic := TopicsOf(p.Site.Name).Report()
	eventually(t, "the report is retained", func() bool { return b.kept(topic) != "" })
	if problems := validate(t, loadSchema(t, "report"), []byte(b.kept(topic))); len(problems) > 0 {
		t.Error(problems)
	}
}

// A flood of a day made a message that no cellular link carried within the time
// for an answer, and the link was cut again and again.
func TestReportOfAFloodIsSentWithTheNewestChangesAndTheCountOfTheRest(t *testing.T) {
	r := aReport()
	one := r.Changes[0]
	for i := range 5000 {
		one.At = r.At.Add(-time.Duration(i) * time.Second)
		r.Changes = append(r.Changes, one)
	}
	payload := publisher(newBox()).reportPayload(r)
	var sent report.Report
	if err := json.Unmarshal(payload, &sent); err != nil {
		t.Fatal(err)
	}
	if len(sent.Changes) != 100 || sent.Older != 4901 || !sent.Changes[0].At.Equal(r.Changes[0].At) || len(payload) > 50_000 {
		t.Errorf("%d changes and %d left out in %d bytes", len(sent.Changes), sent.Older, len(payload))
	}
	if problems := validate(t, loadSchema(t, "report"), payload); len(problems) > 0 {
		t.Error(problems)
	}
}

// What is the largest and calls nobody must not stand in the way of alarms.
func TestReportIsSentBehindWhatStands(t *testing.T) {
	p := publisher(newBox())
	p.topics = TopicsOf(p.Site.Name)
	last := &alarm.Event{Seq: 1}
	p.View = func() View {
		return View{Report: aReport(), Pumps: []*rules.Snapshot{{Pump: "gp-1", Alarms: []alarm.View{{Name: "no_flow", Last: last}}}}}
	}
	window := (&connection{Publisher: p}).changed()
	if n := len(window); n < 2 || window[n-1].topic != p.topics.Report() {
		t.Errorf("%d topics, the last is %q", n, window[n-1].topic)
	}
}
