package report

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"pumpside/rules/alarm"
	"pumpside/rules/service"
)

// An Urgency is by when a person is needed.
type Urgency uint8

// The urgencies, the most urgent first.
const (
	Now      Urgency = iota // an alarm stands: within its time to respond
	Today                   // the spare is gone, a finding advises a visit, a task is overdue
	ThisWeek                // due, or an advisory that can wait
)

var urgencyWords = []string{"now", "today", "this_week"}

// String gives the word for u.
func (u Urgency) String() string {
	if int(u) < len(urgencyWords) {
		return urgencyWords[u]
	}
	return fmt.Sprintf("urgency_%d", u)
}

// MarshalText writes the word for u.
func (u Urgency) MarshalText() ([]byte, error) { return []byte(u.String()), nil }

// UnmarshalText reads what MarshalText wrote.
func (u *Urgency) UnmarshalText(text []byte) error {
	i := slices.Index(urgencyWords, string(text))
	if i < 0 {
		return fmt.Errorf("%q is not an urgency; use one of %s", text, strings.Join(urgencyWords, ", "))
	}
	*u = Urgency(i)
	return nil
}

// A Need is a pump, or the site itself, that needs a person.
type Need struct {
	Pump    string    `json:"pump"` // "" for the site or a group
	Tag     string    `json:"tag"`
	Urgency Urgency   `json:"urgency"`
	Rank    int       `json:"rank"` // among all needs of that urgency anywhere: higher goes first
	By      string    `json:"by"`   // who acts: control_room, mechanic or automation
	Since   time.Time `json:"since"`
	Why     []string  `json:"why"` // in words, the worst first
	Kit     []string  `json:"kit"` // what to bring
}

// needs says who needs a person, first things first: one line a pump.
func needs(in *Input, r *Report) []Need {
	byPump := map[string]*Need{}
	of := func(pump string) *Need {
		if byPump[pump] == nil {
			byPump[pump] = &Need{Pump: pump, Tag: in.tag(pump), Urgency: ThisWeek + 1, Since: in.At.Wall, Why: []string{}, Kit: []string{}}
		}
		return byPump[pump]
	}
	in.eachAlarm(func(pump string, v *alarm.View) {
		if u, ok := urgencyOf(v); ok {
			m := in.Words(pump, standingNow(v.Last, in.until()))
			rank := 10 * int(v.Priority)
			if v.Text == "circulation_lost" || v.Text == "circulation_short" || v.Text == "group_power_lost" {
				rank += 5
			}
			why := m.Headline
			if v.Last.Kind == alarm.AcknowledgedBy {
				why += " Acknowledged by " + v.Last.User + "."
			}
			of(pump).add(u, rank, v.Responder, v.RaisedAt.Wall, why, m.Parts...)
		}
	})
	for _, d := range r.Due {
		u := ThisWeek
		if d.Status == service.Overdue.String() {
			u = Today
		}
		n := of(d.Pump)
		since := in.At.Wall
		if d.Since != nil {
			since = *d.Since
		}
		n.add(u, int(9*min(d.Used, 1)), alarm.Mechanic, since, fmt.Sprintf("%s %s, %.0f %% used", d.Title, strings.ReplaceAll(d.Status, "_", " "), service.Percent(d.Used)), strings.Split(d.Parts, ";")...)
	}
	list := []Need{}
	for _, n := range byPump {
		list = append(list, *n)
	}
	SortNeeds(list)
	return list
}

// standingNow gives an event of an alarm that stands as the call it was, with
// the time for which it has stood at t.
func standingNow(e *alarm.Event, t time.Time) *alarm.Event {
	now := *e
	if now.Duration > 0 {
		now.Duration += max(t.Sub(e.At.Wall), 0)
	}
	now.Kind, now.SuppressedBy, now.ShelvedNow, now.RemovedNow = alarm.Raised, 0, false, false
	return &now
}

// urgencyOf says by when an alarm needs a person; ok is false when it needs
// none.
func urgencyOf(v *alarm.View) (u Urgency, ok bool) {
	switch {
	case !v.State.Active() || v.Shelved || v.Removed || v.SuppressedBy != "" || v.Last == nil || v.Responder == alarm.Journal:
		return 0, false
	case strings.HasSuffix(v.Name, "_due") || strings.HasSuffix(v.Name, "_overdue"):
		return 0, false // the task itself is told
	case v.Class == alarm.Alarm && (v.Notify == alarm.Now || v.CarriedBy != ""):
		return Now, true
	case v.Class == alarm.Alarm:
		return Today, true // a pump of a group that circulates without it
	case v.Class == alarm.Advisory && v.Priority >= alarm.Medium && v.Responder != alarm.Automation:
		return Today, true
	case v.Class == alarm.Advisory:
		return ThisWeek, true
	}
	return 0, false
}

// add takes one reason in; a more urgent one goes before those there are.
func (n *Need) add(u Urgency, rank int, by alarm.Responder, since time.Time, why string, parts ...string) {
	if u < n.Urgency || u == n.Urgency && rank > n.Rank {
		n.Urgency, n.Rank, n.By = u, rank, by.String()
		n.Why = slices.Insert(n.Why, 0, why)
	} else {
		n.Why = append(n.Why, why)
	}
	if since.Before(n.Since) {
		n.Since = since
	}
	for _, p := range parts {
		if p = strings.TrimSpace(p); p != "" && !slices.Contains(n.Kit, p) {
			n.Kit = append(n.Kit, p)
		}
	}
}

// SortNeeds puts needs in the order in which people should go.
func SortNeeds(list []Need) { slices.SortStableFunc(list, compareNeeds) }

func compareNeeds(a, b Need) int {
	return cmp.Or(cmp.Compare(a.Urgency, b.Urgency), cmp.Compare(b.Rank, a.Rank), a.Since.Compare(b.Since), cmp.Compare(a.Tag, b.Tag))
}
