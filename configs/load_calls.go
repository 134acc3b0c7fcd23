package configs

import (
	"slices"
	"time"
)

// weekdays are written as their first three letters.
var weekdays = []string{"sun", "mon", "tue", "wed", "thu", "fri", "sat"}

func (l *loader) calls() {
	f, here := &l.file.Site.Calls, at("site").child("calls")
	c := Calls{EscalateAfter: f.EscalateAfter, EscalateTo: f.EscalateTo, Quiet: l.hours(here, "quiet_from", f.QuietFrom, "quiet_to", f.QuietTo)}
	l.between(here.child("escalate_after"), f.EscalateAfter, time.Minute, day)
	if (f.QuietFrom == "") != (f.QuietTo == "") {
		l.wrong(here, "quiet_from and quiet_to go together")
	}
	for i := range f.Rota {
		line, here := &f.Rota[i], here.child("rota").item(i)
		r := Rota{Responder: responders[line.Responder], Hours: l.hours(here, "from", line.From, "to", line.To), Call: line.Call}
		for _, d := range line.Days {
			r.Days = append(r.Days, time.Weekday(slices.Index(weekdays, d)))
		}
		c.Rota = append(c.Rota, r)
	}
	l.config.Site.Calls = c
}

// hours reads two times of day; an empty one is midnight.
func (l *loader) hours(here *place, fromKey, from, toKey, to string) Hours {
	return Hours{l.timeOfDay(here.child(fromKey), from), l.timeOfDay(here.child(toKey), to)}
}

func (l *loader) timeOfDay(here *place, text string) time.Duration {
	if text == "" {
		return 0
	}
	t, err := time.Parse("15:04", text)
	if err != nil {
		l.wrong(here, "%q is no time of day; write such as \"22:00\"", text)
	}
	return time.Duration(t.Hour())*time.Hour + time.Duration(t.Minute())*time.Minute
}
