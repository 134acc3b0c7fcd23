package report

import (
	"cmp"
	"slices"
	"time"

	"pumpside/rules/alarm"
)

// A Performance is how the alarms themselves do over a span of time. The
// measures are those of alarm management (ISA-18.2, EEMUA 191); the targets are
// our own: at most one alarm a pump and month, and no message at night from a
// pump that is well.
type Performance struct {
	Alarms       int        `json:"alarms"`     // raises of class alarm
	Advisories   int        `json:"advisories"` // raises of class advisory
	Calls        int        `json:"calls"`      // messages that call somebody now
	NightCalls   int        `json:"night_calls"`
	Escalated    int        `json:"escalated"` // calls because nobody had acknowledged
	PerPumpMonth *float64   `json:"alarms_per_pump_month"`
	Standing     int        `json:"standing"`   // active now
	Stale        int        `json:"stale"`      // of them, for more than 24 h
	Unseen       int        `json:"unseen"`     // nobody has acknowledged
	Chattering   int        `json:"chattering"` // alarms that came and went three times in a minute
	Floods       int        `json:"floods"`     // summaries in place of single messages
	Acknowledge  *float64   `json:"median_time_to_acknowledge_s"`
	Frequent     []Frequent `json:"frequent"` // the ten that came most often, more than once
}

// A Frequent is how often one alarm was raised.
type Frequent struct {
	Pump  string  `json:"pump"`
	Alarm string  `json:"alarm"`
	Count int     `json:"count"`
	Share float64 `json:"share"` // of all raises
}

// month is the twelfth part of a mean year.
const month = 365.25 * 24 * time.Hour / 12

// frequentMost is how many of the most frequent are told.
const frequentMost = 10

// rateFrom is the time from which on a rate says something: one bad day is not
// thirty.
const rateFrom = 7 * 24 * time.Hour

// atNight is 1 between ten and six at the site, else 0.
func (in *Input) atNight(t time.Time) int {
	zone := in.Zone
	if zone == nil {
		zone = time.UTC
	}
	if hour := t.In(zone).Hour(); hour >= 22 || hour < 6 {
		return 1
	}
	return 0
}

func measure(in *Input) Performance {
	p := Performance{Frequent: []Frequent{}}
	counts, chatter, waits := map[[2]string]int{}, map[[2]string]bool{}, []time.Duration(nil)
	raised := map[[2]string]time.Time{}
	for _, e := range in.Journal {
		ev, key := e.Event, [2]string{e.Pump, e.Event.Alarm}
		if ev.Notify == alarm.Now {
			p.Calls++
			p.NightCalls += in.atNight(ev.At.Wall)
		}
		switch ev.Kind {
		case alarm.Raised:
			if ev.SuppressedBy != 0 || ev.ShelvedNow || ev.RemovedNow {
				continue // nobody was bothered
			}
			p.count(ev)
			counts[key]++
			raised[key] = ev.At.Wall
		case alarm.AcknowledgedBy:
			if at, ok := raised[key]; ok {
				waits = append(waits, ev.At.Wall.Sub(at))
				delete(raised, key)
			}
		case alarm.Chattering:
			chatter[key] = true
		case alarm.Summary:
			p.Floods++
		case alarm.Escalated:
			p.Escalated++
		}
	}
	p.Chattering = len(chatter)
	if len(waits) > 0 {
		slices.Sort(waits)
		p.Acknowledge = new(waits[len(waits)/2].Seconds())
	}
	if span := in.At.Wall.Sub(in.Since); span >= rateFrom && len(in.Pumps) > 0 {
		p.PerPumpMonth = new(float64(p.Alarms) / float64(len(in.Pumps)) * month.Hours() / span.Hours())
	}
	p.Frequent = frequent(counts, p.Alarms+p.Advisories)
	in.eachAlarm(func(_ string, v *alarm.View) { p.look(in.until(), v) })
	return p
}

func (p *Performance) count(e *alarm.Event) {
	switch e.Class {
	case alarm.Alarm:
		p.Alarms++
	case alarm.Advisory:
		p.Advisories++
	}
}

func (p *Performance) look(now time.Time, v *alarm.View) {
	if v.Class == alarm.Record {
		return
	}
	if v.State.NeedsAcknowledge() {
		p.Unseen++
	}
	if v.State.Active() {
		p.Standing++
		if now.Sub(v.RaisedAt.Wall) > staleAfter {
			p.Stale++
		}
	}
}

// frequent lists the alarms that came more than once, most often first.
func frequent(counts map[[2]string]int, all int) []Frequent {
	list := []Frequent{}
	for key, n := range counts {
		if n > 1 {
			list = append(list, Frequent{Pump: key[0], Alarm: key[1], Count: n, Share: float64(n) / float64(max(all, 1))})
		}
	}
	slices.SortFunc(list, func(a, b Frequent) int {
		return cmp.Or(cmp.Compare(b.Count, a.Count), cmp.Compare(a.Pump, b.Pump), cmp.Compare(a.Alarm, b.Alarm))
	})
	return list[:min(len(list), frequentMost)]
}
