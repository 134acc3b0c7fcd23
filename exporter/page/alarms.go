package page

import (
	"net/url"
	"slices"
	"strconv"
	"time"

	"pumpside/rules/alarm"
)

// alarmsData is what does not change on the screen while it is open.
type alarmsData struct {
	Filter  journalFilter
	Pumps   []Pump
	Periods []period
}

// A period is a length of time to look back.
type period struct {
	Hours int
	Word  string
}

var periods = []period{{8, "8 hours"}, {24, "24 hours"}, {7 * 24, "7 days"}, {30 * 24, "30 days"}, {730 * 24, "2 years"}}

// A journalFilter is what of the journal is wanted.
type journalFilter struct {
	Pump  string // a pump's id, "site" for the site's own, "" for all
	Alarm string
	Hours int
	Limit int
}

// The limits of a journal query.
const (
	journalUsual = 100
	journalMost  = 1000
	journalHours = 20 * 366 * 24
)

func filterOf(q url.Values, view *View) (f journalFilter, err error) {
	f = journalFilter{Pump: q.Get("pump"), Alarm: q.Get("alarm"), Hours: 7 * 24, Limit: journalUsual}
	if f.Pump != "" && f.Pump != "site" {
		if _, err := findPump(view, f.Pump); err != nil {
			return f, err
		}
	}
	if f.Hours, err = number(q, "hours", f.Hours, 1, journalHours); err != nil {
		return f, err
	}
	if f.Limit, err = number(q, "limit", f.Limit, 1, journalMost); err != nil {
		return f, err
	}
	for _, r := range f.Alarm {
		if (r < 'a' || r > 'z') && (r < '0' || r > '9') && r != '_' && r != '-' {
			return f, errQuery(quoted(f.Alarm) + " is no name of an alarm: lower-case letters, digits, _ and - only")
		}
	}
	return f, nil
}

// number reads a whole number of a query.
func number(q url.Values, key string, usual, least, most int) (int, error) {
	text := q.Get(key)
	if text == "" {
		return usual, nil
	}
	n, err := strconv.Atoi(text)
	if err != nil || n < least || n > most {
		return 0, errQuery(key + " is " + quoted(text) + "; write a whole number from " + strconv.Itoa(least) + " to " + strconv.Itoa(most))
	}
	return n, nil
}

func (f journalFilter) query(now time.Time) JournalQuery {
	q := JournalQuery{Pump: f.Pump, Alarm: f.Alarm, Limit: f.Limit, Since: now.Add(-time.Duration(f.Hours) * time.Hour)}
	if f.Pump == "site" {
		q.Pump, q.Own = "", true
	}
	return q
}

// alarmsScreen answers: what is wrong anywhere, who knows of it, and what has
// been silenced, by whom, until when?
func alarmsScreen(p *Page, a ask, view View, v viewer) (*screen, error) {
	filter, err := filterOf(a.Query, &view)
	if err != nil {
		return nil, err
	}
	s := &screen{Title: "Alarms", Nav: "alarms", Body: "alarms", Data: alarmsData{filter, view.Pumps, periods}}
	all := p.everywhere(v, a.Path, &view, func(one *alarm.View) bool { return one.State != alarm.Normal || one.Shelved || one.Removed })
	pick := func(id string, keep func(alarmLine, *alarm.View) bool) {
		var some []alarmLine
		for _, l := range all {
			if keep(l, findAlarm(&view, l)) {
				some = append(some, l)
			}
		}
		s.add(id, "alarm-list", some)
		s.add(id+"-count", "count", len(some))
	}
	pick("new", func(l alarmLine, one *alarm.View) bool { return one.State.NeedsAcknowledge() && !set(one) })
	pick("known", func(l alarmLine, one *alarm.View) bool { return stands(one) && !one.State.NeedsAcknowledge() })
	pick("shelved", func(l alarmLine, one *alarm.View) bool { return one.Shelved })
	pick("suppressed", func(l alarmLine, one *alarm.View) bool { return one.SuppressedBy != "" && !one.Shelved && !one.Removed })
	pick("removed", func(l alarmLine, one *alarm.View) bool { return one.Removed })
	entries, err := p.newest(a, filter.query(view.At.Wall), &view)
	s.add("journal", "journal", p.journalPart(v, &view, entries, err))
	return s, nil
}

func findAlarm(view *View, l alarmLine) *alarm.View {
	alarms := view.Own.Alarms
	if l.Pump != "" {
		pump, _ := findPump(view, l.Pump)
		alarms = pump.Alarms
	}
	i := slices.IndexFunc(alarms, func(a alarm.View) bool { return a.Name == l.Name })
	return &alarms[i]
}
