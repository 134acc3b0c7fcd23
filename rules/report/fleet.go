package report

import (
	"fmt"
	"io"
	"slices"
	"strings"
	"time"
)

// A Fleet is many sites at one moment: which pumps need a person, and of which
// sites there is no news.
type Fleet struct {
	At     time.Time   `json:"at"`
	Sites  int         `json:"sites"`
	Pumps  int         `json:"pumps"`
	Needs  []SiteNeed  `json:"needs"`   // first things first, over all sites
	NoNews []NoNews    `json:"no_news"` // not necessarily a stop
	Alarms FleetAlarms `json:"alarm_performance"`
}

// A SiteNeed is a need and where it is.
type SiteNeed struct {
	Site  string     `json:"site"`
	Title string     `json:"title"`
	AsOf  *time.Time `json:"as_of"` // there is no news of the site since; nil: there is
	Need
}

// A NoNews is a site that cannot be told about.
type NoNews struct {
	Site  string     `json:"site"`
	Title string     `json:"title"` // "" when it never told
	Since *time.Time `json:"since"` // of the last news; nil: not known
	Why   string     `json:"why"`
}

// FleetAlarms is how the alarms do over the sites that have told.
type FleetAlarms struct {
	Alarms       int      `json:"alarms"`
	Calls        int      `json:"calls"`
	PerPumpMonth *float64 `json:"alarms_per_pump_month"`
	Stale        int      `json:"stale"`
}

// A Site is the newest that is known of one site.
type Site struct {
	Site    string
	Online  bool
	Report  *Report // nil: none
	Trouble string  // why there is none
}

// oldNews is when a report is no news any more: it is renewed every quarter of
// an hour.
const oldNews = time.Hour

// FleetOf puts many sites together. The needs of a site without fresh news are
// told with it, for they were true when it was last heard.
func FleetOf(now time.Time, sites []Site) *Fleet {
	f := &Fleet{At: now, Sites: len(sites), Needs: []SiteNeed{}, NoNews: []NoNews{}}
	months := 0.0
	for _, s := range sites {
		var asOf *time.Time
		if why := s.silence(now); why != "" {
			n := NoNews{Site: s.Site, Why: why}
			if s.Report != nil {
				asOf = &s.Report.At
				n.Since, n.Title = asOf, s.Report.Title
			}
			f.NoNews = append(f.NoNews, n)
		}
		if s.Report == nil {
			continue
		}
		r := s.Report
		f.Pumps += len(r.Pumps)
		for _, n := range r.Needs {
			f.Needs = append(f.Needs, SiteNeed{s.Site, r.Title, asOf, n})
		}
		f.Alarms.Alarms += r.Performance.Alarms
		f.Alarms.Calls += r.Performance.Calls
		f.Alarms.Stale += r.Performance.Stale
		months += float64(len(r.Pumps)) * r.At.Sub(r.Since).Hours() / month.Hours()
	}
	if months >= 1 { // one bad day is not thirty
		f.Alarms.PerPumpMonth = new(float64(f.Alarms.Alarms) / months)
	}
	slices.SortStableFunc(f.Needs, func(a, b SiteNeed) int { return compareNeeds(a.Need, b.Need) })
	slices.SortStableFunc(f.NoNews, func(a, b NoNews) int { return strings.Compare(a.Site, b.Site) })
	return f
}

// silence says why a site cannot be told about, "" when it can.
func (s *Site) silence(now time.Time) string {
	switch {
	case s.Report == nil:
		return s.Trouble
	case !s.Online:
		return "the agent is not connected"
	case now.Sub(s.Report.At) > oldNews:
		return "its report is old"
	}
	return ""
}

// Print writes the fleet for people. most is how many needs are told; 0 is all.
func (f *Fleet) Print(w io.Writer, most int) {
	p := printer{w, Text{Zone: time.UTC}, f.At, false}
	p.line("%s, %s, %s", plural(f.Sites, "site"), plural(f.Pumps, "pump"), p.when(f.At))
	rate := "rate not known (it takes a pump and month)"
	if f.Alarms.PerPumpMonth != nil {
		rate = fmt.Sprintf("%.2f a pump and month", *f.Alarms.PerPumpMonth)
	}
	p.line("%s in the time reported, %s, %s, %d stale", plural(f.Alarms.Alarms, "alarm"), rate, plural(f.Alarms.Calls, "call"), f.Alarms.Stale)
	f.printNeeds(p, most)
	if len(f.NoNews) == 0 {
		return
	}
	p.title(fmt.Sprintf("No news, not necessarily a stop (%d)", len(f.NoNews)))
	for _, n := range f.NoNews {
		since := "never heard"
		if n.Since != nil {
			since = "last news " + p.when(*n.Since)
		}
		p.line("  %s: %s, %s", orElse(n.Title, n.Site), n.Why, since)
	}
}

func (f *Fleet) printNeeds(p printer, most int) {
	last := Urgency(255)
	for i, n := range f.Needs {
		if most > 0 && i == most {
			p.line("  … and %d more", len(f.Needs)-most)
			break
		}
		if n.Urgency != last {
			p.title("Needs a person " + strings.ToUpper(spaced(n.Urgency.String())))
			last = n.Urgency
		}
		p.line("  %d. %s (%s)", i+1, strings.TrimSpace(n.Title+" "+n.Tag), spaced(n.By))
		p.line("     %s", n.Why[0])
		if more := len(n.Why) - 1; more > 0 {
			p.line("     and %d more", more)
		}
		if n.AsOf != nil {
			p.line("     as of %s, no news since", p.when(*n.AsOf))
		}
		if len(n.Kit) > 0 {
			p.line("     bring: %s", strings.Join(n.Kit, "; "))
		}
	}
	if len(f.Needs) == 0 {
		p.line("\nNobody is needed.")
	}
}
