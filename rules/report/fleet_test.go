package report_test

import (
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"pumpside/rules/report"
)

// Three sites: one is well but for its circulation, one has fallen silent, one
// has never told anything.
func TestAFleetForPeople(t *testing.T) {
	now := time.Date(2026, 3, 2, 6, 0, 0, 0, time.UTC)
	told := func(title string, at time.Time, needs ...report.Need) *report.Report {
		return &report.Report{Title: title, At: at, Since: at.Add(-24 * time.Hour), Pumps: make([]report.Pump, 2), Needs: needs, Performance: report.Performance{Alarms: 2, Calls: 1}}
	}
	sites := []report.Site{
		{Site: "creek-2", Report: told("Creek Station 2", now.Add(-3*time.Hour),
			report.Need{Pump: "gp-1", Tag: "P-2A", Urgency: report.Today, Rank: 9, By: "mechanic", Why: []string{"oil overdue, 113 % used", "valves due"}, Kit: []string{"12 L of oil", "valve kit"}},
			report.Need{Pump: "gp-2", Tag: "P-2B", Urgency: report.ThisWeek, Rank: 8, By: "mechanic", Why: []string{"belt due"}})},
		{Site: "mesa-9", Trouble: "it has published no report"},
		{Site: "ridge-7", Online: true, Report: told("Ridge Station 7", now.Add(-5*time.Minute),
			report.Need{Urgency: report.Now, Rank: 25, By: "control_room", Why: []string{"[HIGH] Ridge Station 7: glycol circulation LOST 4 min. Act in 30 min."}})},
	}
	const want = `3 sites, 4 pumps, 02 Mar 06:00 UTC
4 alarms in the time reported, rate not known (it takes a pump and month), 2 calls, 0 stale

Needs a person NOW
  1. Ridge Station 7 (control room)
     [HIGH] Ridge Station 7: glycol circulation LOST 4 min. Act in 30 min.

Needs a person TODAY
  2. Creek Station 2 P-2A (mechanic)
     oil overdue, 113 % used
     and 1 more
     as of 02 Mar 03:00 UTC, no news since
     bring: 12 L of oil; valve kit
  … and 1 more

No news, not necessarily a stop (2)
  Creek Station 2: the agent is not connected, last news 02 Mar 03:00 UTC
  mesa-9: it has published no report, never heard
`
	var text strings.Builder
	report.FleetOf(now, sites).Print(&text, 2)
	if d := cmp.Diff(want, text.String()); d != "" {
		t.Errorf("fleet (-want +got):\n%s", d)
	}
}

func TestAFleetHasARateFromAPumpMonthOn(t *testing.T) {
	now := time.Date(2026, 3, 2, 6, 0, 0, 0, time.UTC)
	var sites []report.Site
	for range 40 {
		sites = append(sites, report.Site{Online: true, Report: &report.Report{At: now, Since: now.Add(-24 * time.Hour), Pumps: make([]report.Pump, 1), Performance: report.Performance{Alarms: 1}}})
	}
	if rate := report.FleetOf(now, sites[:30]).Alarms.PerPumpMonth; rate != nil {
		t.Errorf("rate %v of 30 pump-days", *rate)
	}
	if rate := report.FleetOf(now, sites).Alarms.PerPumpMonth; rate == nil || *rate < 30 || *rate > 31 {
		t.Errorf("rate %v, want an alarm a day", rate)
	}
}
