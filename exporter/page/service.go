package page

import (
	"cmp"
	"crypto/rand"
	"slices"
	"strings"

	"pumpside/rules/alarm"
)

// serviceData is what does not change on the screen while it is open.
type serviceData struct {
	Pumps  []Pump
	Chosen string // pump/task that a link chose
	Order  string // id of the next order: a form sent twice counts once
}

// A visit is what could be done at one pump in one go.
type visit struct {
	Pump, Tag, Location string
	Hazards             []string
	Tasks               []taskRow
	Parts               []string
	Safety              string
}

// serviceScreen answers: what is due next, where, what do I bring, and what
// was done before? On a phone its form takes four touches.
func serviceScreen(p *Page, a ask, view View, v viewer) (*screen, error) {
	chosen := a.Query.Get("for")
	if pump, _, _ := strings.Cut(chosen, "/"); chosen != "" {
		if _, err := findPump(&view, pump); err != nil {
			return nil, err
		}
	}
	s := &screen{Title: "Service", Nav: "service", Body: "service", Data: serviceData{view.Pumps, chosen, rand.Text()}}
	var rows []taskRow
	var visits []visit
	for i := range view.Pumps {
		of := p.taskRows(v, &view.Pumps[i], view.At)
		rows = append(rows, of...)
		if one, ok := visitOf(&view.Pumps[i], of); ok {
			visits = append(visits, one)
		}
	}
	slices.SortStableFunc(rows, func(a, b taskRow) int { return cmp.Compare(b.used, a.used) })
	s.add("due", "task-list", rows)
	s.add("visits", "visits", visits)
	done, err := p.newest(a, JournalQuery{Alarm: "service_recorded", Limit: journalUsual}, &view)
	if err != nil {
		return nil, err
	}
	s.add("history", "journal", p.journalLines(v, &view, done))
	return s, nil
}

// visitOf gathers the tasks that are due or soon will be, with what they need.
func visitOf(pump *Pump, rows []taskRow) (visit, bool) {
	one := visit{Pump: pump.ID, Tag: pump.Tag, Location: pump.Location, Hazards: pump.Hazards, Safety: alarm.Safety}
	for _, row := range rows {
		if !row.Late && !row.Soon {
			continue
		}
		one.Tasks = append(one.Tasks, row)
		if row.Parts != "" && !slices.Contains(one.Parts, row.Parts) {
			one.Parts = append(one.Parts, row.Parts)
		}
	}
	return one, len(one.Tasks) > 0
}
