package page

import (
	"cmp"
	"crypto/rand"
	"fmt"
	"slices"
	"strings"

	"pumpside/drivers"
	"pumpside/rules/service"
)

// serviceData is what does not change on the screen while it is open.
type serviceData struct {
	Pumps  []Pump
	Chosen string // pump/task that a link chose
	Order  string // id of the next order: a form sent twice counts once

	Actions, Findings, Reasons []string // the words a record may use
	Cylinders                  []int
}

// A recordLine is one line of the service history.
type recordLine struct {
	Pump, Tag, Title, When, Entered string
	Number                          int
	What                            string // action, place and what was found
	By, Note, Disputed              string
	Hours                           string
	Undone                          bool
	Undo                            bool // it is itself the undoing of another
	Viewer                          viewer
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
	s := &screen{Title: "Service", Nav: "service", Body: "service", Data: serviceData{
		Pumps: view.Pumps, Chosen: chosen, Order: rand.Text(),
		Actions: service.Actions(), Findings: service.Findings(), Reasons: service.Reasons(), Cylinders: cylindersOf(&view),
	}}
	var rows []taskRow
	for i := range view.Pumps {
		rows = append(rows, p.taskRows(v, &view.Pumps[i], view.At)...)
	}
	slices.SortStableFunc(rows, func(a, b taskRow) int { return cmp.Compare(b.used, a.used) })
	s.add("due", "due", dueOf(rows))
	s.add("visits", "visits", p.planPart(v, &view))
	done, err := p.newest(a, JournalQuery{Alarm: "service_recorded", Limit: journalUsual}, &view)
	if err != nil {
		s.add("history", "journal", p.journalPart(v, &view, nil, err))
		return s, nil
	}
	s.add("history", "records", recordLines(v, &view, done))
	return s, nil
}

// A duePart is what is due next, and the rest.
type duePart struct{ First, Rest []taskRow }

// firstTasks is how many tasks are shown at first that are not due yet.
const firstTasks = 8

// dueOf parts tasks, the most used first.
func dueOf(rows []taskRow) duePart {
	n := min(firstTasks, len(rows))
	for n < len(rows) && (rows[n].Late || rows[n].Soon) {
		n++
	}
	return duePart{rows[:n], rows[n:]}
}

func cylindersOf(view *View) []int {
	most := 0
	for _, one := range view.Pumps {
		most = max(most, one.Cylinders)
	}
	var list []int
	for i := range most {
		list = append(list, i+1)
	}
	return list
}

// recordLines puts service records into words, newest first.
func recordLines(v viewer, view *View, entries []Entry) (list []recordLine) {
	undone := map[string]bool{}
	key := func(pump string, number int) string { return fmt.Sprintf("%s#%d", pump, number) }
	for _, e := range entries {
		if r := e.Event.Service; r != nil && r.Entry.Undoes > 0 {
			undone[key(e.Pump, r.Entry.Undoes)] = true
		}
	}
	for _, e := range entries {
		l := recordLine{Pump: e.Pump, Tag: e.Pump, Title: recordTitle(e.Event.Subject), When: v.Clock.instant(e.Event.At), By: e.Event.User, Note: e.Event.Comment, Viewer: v}
		if pump, err := findPump(view, e.Pump); err == nil {
			l.Tag = pump.Tag
			if e.Event.Subject != "" {
				l.Title = pump.TitleOf(e.Event.Subject)
			}
		}
		if r := e.Event.Service; r != nil {
			l.add(v, r)
			l.Undone = undone[key(e.Pump, r.Number)]
		}
		list = append(list, l)
	}
	return list
}

func recordTitle(task string) string {
	if task == "" {
		return "No task"
	}
	return sentence(spaced(task))
}

func partWords(p *drivers.ServicePart) string {
	var text strings.Builder
	text.WriteString(p.Name)
	for _, more := range [][2]string{{" ", p.Number}, {", serial ", p.Serial}, {", batch ", p.Batch}} {
		if more[1] != "" {
			text.WriteString(more[0] + more[1])
		}
	}
	return text.String()
}

func (l *recordLine) add(v viewer, r *drivers.ServiceRecord) {
	l.Number, l.When, l.Disputed, l.Hours = r.Number, v.Clock.instant(r.At), r.Disputed, hours(r.RunTime.Seconds(), 0)
	if r.Entry.Undoes > 0 {
		l.Undo, l.What = true, fmt.Sprintf("takes record %d back", r.Entry.Undoes)
		return
	}
	l.What = spaced(r.Entry.Action) + placeWords(r.Entry.Cylinder, r.Entry.Side)
	if s := r.Entry.Swapped; s != nil {
		l.What += " with" + strings.TrimPrefix(placeWords(s.Cylinder, s.Side), ",")
	}
	if r.Entry.Found != "" {
		l.What += "; found " + spaced(r.Entry.Found)
	}
	if r.Entry.Added > 0 {
		l.What += "; " + fixed(r.Entry.Added, 1) + " L of oil topped up"
	}
	if r.Entry.Filled > 0 {
		l.What += "; " + fixed(r.Entry.Filled, 1) + " L of new oil"
	}
	for _, part := range r.Entry.Parts {
		l.What += "; " + partWords(&part)
	}
	l.What = strings.TrimPrefix(l.What, "; ")
	if r.Entry.By != "" && r.Entry.By != l.By {
		l.By = r.Entry.By + ", recorded by " + l.By
	}
}
