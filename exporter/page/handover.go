package page

import (
	"time"

	"pumpside/rules/alarm"
)

// standsLong is when an alarm has stood too long to be news (the usual measure
// of alarm management, as in ISA-18.2 and EEMUA 191).
const standsLong = 24 * time.Hour

// handoverMost is the most entries a report looks at.
const handoverMost = 5000

// A handover is what one shift tells the next.
type handover struct {
	From, To    string
	Hours       int
	Periods     []period
	Needs       []needRow
	Groups      []groupRow
	Shift       []shiftRow
	Standing    []alarmLine
	Cleared     []alarmLine // and nobody has acknowledged it
	Silenced    []alarmLine
	Raised      []raisedCount
	Actions     []journalLine // what people did
	Late        []taskRow
	Wear        []wearRow
	Silent      []string // devices that do not answer
	Alarms      string   // how the alarms themselves did
	NotRead     string   // why the report could not be made
	Raises, Cut int
}

// A raisedCount is how often one alarm came in the time of the report.
type raisedCount struct {
	Tag, Title string
	Count      int
	Mark       mark
}

// handoverScreen answers: does the glycol circulate, who needs a person, what
// runs and why does the rest stand, what stands and what was silenced, what
// happened on the last shift, who did what, and what comes next?
func handoverScreen(p *Page, a ask, view View, v viewer) (*screen, error) {
	span, err := number(a.Query, "hours", 24, 1, 31*24)
	if err != nil {
		return nil, err
	}
	since := view.At.Wall.Add(-time.Duration(span) * time.Hour)
	entries, notRead := p.newest(a, JournalQuery{Since: since, Limit: handoverMost}, &view)
	r := handover{
		From: v.Clock.stamp(since), To: v.Clock.stamp(view.At.Wall), Hours: span, Periods: periods[:4],
		Standing: p.everywhere(v, a.Path, &view, func(a *alarm.View) bool { return stands(a) && !gone(a) }),
		Cleared:  p.everywhere(v, a.Path, &view, func(a *alarm.View) bool { return stands(a) && gone(a) }),
		Silenced: p.everywhere(v, a.Path, &view, func(a *alarm.View) bool { return a.Shelved || a.Removed }),
	}
	if len(entries) == handoverMost {
		r.Cut = handoverMost
	}
	for i := range r.Standing {
		if age, known := view.At.Since(r.Standing[i].raised); known && age > standsLong {
			r.Standing[i].Long = true
		}
	}
	p.tell(&r, v, &view, entries)
	for i := range view.Pumps {
		pump := &view.Pumps[i]
		for _, row := range p.taskRows(v, pump, view.At) {
			if row.Late || row.Soon {
				r.Late = append(r.Late, row)
			}
		}
		if row, ok := wearOf(v, pump); ok {
			r.Wear = append(r.Wear, row)
		}
	}
	if notRead == nil {
		notRead = p.addShift(a, &r, v, view.Site.Currency, time.Duration(span)*time.Hour)
	}
	if notRead != nil {
		r.NotRead = notRead.Error()
	}
	s := &screen{Title: "Handover", Nav: "handover", Body: "handover", Data: r}
	return s, nil
}

// tell counts what was raised and lists what people did.
func (p *Page) tell(r *handover, v viewer, view *View, entries []Entry) {
	places := map[string]int{}
	var byPeople []Entry
	tags := map[string]string{}
	for _, one := range view.Pumps {
		tags[one.ID] = one.Tag
	}
	for _, e := range entries {
		if e.Event.User != "" {
			byPeople = append(byPeople, e)
		}
		if e.Event.Kind != alarm.Raised || e.Event.Class == alarm.Record {
			continue
		}
		r.Raises++
		key := e.Pump + "." + e.Event.Alarm
		i, known := places[key]
		if !known {
			i = len(r.Raised)
			places[key] = i
			r.Raised = append(r.Raised, raisedCount{Tag: tags[e.Pump], Title: alarm.Title(e.Event.Text), Mark: markOf(&alarm.View{Class: e.Event.Class, Priority: e.Event.Priority})})
		}
		r.Raised[i].Count++
	}
	r.Actions = p.journalLines(v, view, byPeople)
}
