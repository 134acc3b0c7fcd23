package main

import (
	_ "embed"
	"html/template"
	"io"
	"slices"
	"strings"
	"time"

	"pumpside/configs"
	"pumpside/rules/alarm"
	"pumpside/rules/pump"
	"pumpside/rules/service"
)

//go:embed sheet.html
var sheetText string

// sheetPage is a page to print: plain HTML, no scripts, nothing fetched.
var sheetPage = template.Must(template.New("sheet").Funcs(template.FuncMap{
	"work": workTime, "name": jobName,
	"words": func(c pump.Component) string { return strings.ReplaceAll(string(c), "_", " ") },
	"add":   func(a, b int) int { return a + b },
}).Parse(sheetText))

// A sheet is what the page shows.
type sheet struct {
	Site   configs.Site
	At     time.Time
	Until  time.Time
	Visit  *loadedVisit // nil: nothing falls due
	NoDate string       // why that cannot be told
	Pumps  []*sheetPump
}

// A sheetPump is one pump's part of the sheet.
type sheetPump struct {
	pumpVisit
	Settings  configs.Pump
	Cylinders []int
}

// Opens is whether a job opens or touches the pump while it is isolated.
func (p *sheetPump) Opens() bool {
	return slices.ContainsFunc(p.Jobs, func(j service.Job) bool { return j.Kind.Opens() })
}

// Safety is the caution for the jobs.
func (p *sheetPump) Safety() string { return alarm.SafetyFor(p.Opens()) }

// writeSheet writes the sheet of the next visit.
func writeSheet(w io.Writer, settings *configs.Config, p *sitePlan) error {
	s := sheet{Site: settings.Site, At: p.At, Until: p.Until, NoDate: p.NoDates}
	if len(p.Visits) > 0 {
		s.Visit = &p.Visits[0]
		for _, pv := range s.Visit.Pumps {
			for _, one := range settings.Pumps {
				if one.ID == pv.Pump {
					s.Pumps = append(s.Pumps, &sheetPump{pv, one, numbered(one.Geometry.Cylinders)})
				}
			}
		}
	}
	return sheetPage.Execute(w, &s)
}

// Day and Minute write times in the zone of the site.
func (s *sheet) Day(t time.Time) string { return t.In(s.Site.TimeZone).Format("Monday 2 January 2006") }

// Why says in that zone why a job is on the visit.
func (s *sheet) Why(j service.Job) string { return why(j, s.Site.TimeZone) }

// Minute is like Day.
func (s *sheet) Minute(t time.Time) string {
	return t.In(s.Site.TimeZone).Format("2006-01-02 15:04 MST")
}

func numbered(n int) (list []int) {
	for i := range n {
		list = append(list, i+1)
	}
	return list
}
