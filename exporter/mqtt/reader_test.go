package mqtt

import (
	"fmt"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"pumpside/rules/report"
)

// fleet is many simulated sites, each with a publisher of its own.
func fleet(t *testing.T, broker string, sites int) (stop func()) {
	t.Helper()
	var stops []func()
	for i := range sites {
		p := publisher(newBox())
		p.Site.Name = fmt.Sprintf("site-%03d", i)
		p.Settings.Broker, p.Settings.ClientID, p.Settings.TelemetryEvery = broker, p.Site.Name, 0
		r := siteReport(i)
		p.View = func() View { return View{Report: r} }
		stops = append(stops, run(t, p))
	}
	return func() {
		for _, stop := range stops {
			stop()
		}
	}
}

// siteReport is that of the i-th site: one in fifty has lost its circulation,
// one in ten has an overdue task.
func siteReport(i int) *report.Report {
	r := aReport()
	r.At, r.Title = time.Now().UTC().Truncate(time.Millisecond), fmt.Sprintf("Site %03d", i)
	r.Needs = []report.Need{}
	since := r.At.Add(-time.Duration(i) * time.Minute)
	if i%50 == 7 {
		r.Needs = append(r.Needs, report.Need{Tag: "north", Urgency: report.Now, Rank: 25, By: "control_room", Since: since, Why: []string{"circulation LOST"}, Kit: []string{}})
	}
	if i%10 == 3 {
		r.Needs = append(r.Needs, report.Need{Pump: "gp-1", Tag: "P-1A", Urgency: report.Today, Rank: 9, By: "mechanic", Since: since, Why: []string{"oil overdue"}, Kit: []string{"12 L of oil"}})
	}
	return r
}

func TestTwoHundredSitesAreReadFromAMosquitto(t *testing.T) {
	const sites = 200
	m := newMosquitto(t, "allow_anonymous true", "max_queued_messages 1000") // its default
	m.start(t)
	stop := fleet(t, "tcp://"+m.address, sites)
	settings := Settings{Broker: "tcp://" + m.address, ClientID: "reader"}
	complete := func() (list []SiteReport) {
		eventually(t, "every site is read", func() bool {
			var err error
			if list, err = ReadReports(t.Context(), settings, 500*time.Millisecond); err != nil {
				t.Fatal(err)
			}
			n := 0
			for _, s := range list {
				if s.Report != nil && s.Online {
					n++
				}
			}
			return n == sites
		})
		return list
	}
	list := complete()
	all := report.FleetOf(time.Now(), sitesOf(list))
	if all.Sites != sites || all.Pumps != sites || len(all.NoNews) != 0 || len(all.Needs) != 4+20 {
		t.Errorf("%d sites, %d pumps, %d without news, %d needs", all.Sites, all.Pumps, len(all.NoNews), len(all.Needs))
	}
	var first []string
	for _, n := range all.Needs[:5] {
		first = append(first, n.Site+" "+n.Urgency.String())
	}
	// The longest lost goes first, then the longest overdue.
	want := []string{"site-157 now", "site-107 now", "site-057 now", "site-007 now", "site-193 today"}
	if d := cmp.Diff(want, first); d != "" {
		t.Errorf("first needs (-want +got):\n%s", d)
	}
	if kit := all.Needs[4].Kit; len(kit) != 1 || kit[0] != "12 L of oil" {
		t.Errorf("kit %v", kit)
	}
	stop()
	list, err := ReadReports(t.Context(), settings, 500*time.Millisecond)
	if err != nil || len(list) != sites {
		t.Fatalf("%d sites, %v", len(list), err)
	}
	gone := report.FleetOf(time.Now(), sitesOf(list))
	if len(gone.NoNews) != sites || gone.NoNews[0].Why != "the agent is not connected" || len(gone.Needs) != 24 {
		t.Errorf("after they stopped: %d without news, %d needs", len(gone.NoNews), len(gone.Needs))
	}
}

func sitesOf(list []SiteReport) []report.Site {
	var sites []report.Site
	for _, s := range list {
		sites = append(sites, report.Site{Site: s.Site, Online: s.Online, Report: s.Report, Trouble: s.Trouble})
	}
	return sites
}

func TestASiteThatCannotBeReadHarmsNoOther(t *testing.T) {
	var m mail
	b := startEmbedded(t, "", &m)
	defer b.stop(t)
	for topic, body := range map[string]string{
		root + "good/status":   `{"state": "online", "at": "2026-03-01T12:00:00.000Z"}`,
		root + "good/report":   `{"title": "Good", "at": "2026-03-01T12:00:00Z", "pumps": [{"pump": "gp-1", "mode": "running"}]}`,
		root + "broken/status": `{"state": "online"}`,
		root + "broken/report": `{"title": `,
		root + "bare/status":   `{"state": "offline", "at": null}`,
		root + "a%2Fb/status":  `nonsense`,
	} {
		if err := b.Publish(topic, []byte(body), true, 1); err != nil {
			t.Fatal(err)
		}
	}
	list, err := ReadReports(t.Context(), Settings{Broker: "tcp://" + b.address, ClientID: "reader"}, 300*time.Millisecond)
	if err != nil {
		t.Fatal(err)
	}
	got := map[string]string{}
	for _, s := range list {
		got[s.Site] = fmt.Sprintf("online %v, report %v, %s", s.Online, s.Report != nil, s.Trouble)
	}
	want := map[string]string{
		"good": "online true, report true, ", "broken": "online true, report false, its report cannot be read: unexpected end of JSON input",
		"bare": "online false, report false, it has published no report", "a/b": "online false, report false, it has published no report",
	}
	if d := cmp.Diff(want, got); d != "" {
		t.Errorf("sites (-want +got):\n%s", d)
	}
}
