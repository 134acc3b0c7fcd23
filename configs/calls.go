package configs

import (
	"slices"
	"time"

	"pumpside/rules/alarm"
)

// Calls says who is called. It routes and silences nothing.
type Calls struct {
	EscalateAfter time.Duration
	EscalateTo    []string // at the first escalation, the second and so on; the last at all further ones
	Quiet         Hours
	Rota          []Rota
}

// Hours are a part of every day, from a time since midnight to another; over
// midnight when To is not later than From. The zero Hours are none.
type Hours struct{ From, To time.Duration }

// A Rota is who is on call at some time of the week.
type Rota struct {
	Responder alarm.Responder
	Days      []time.Weekday // on which its hours begin; none is every day
	Hours     Hours          // the zero Hours are the whole day
	Call      string
}

// begins finds the day on which the hours began that hold at local time t.
func (h Hours) begins(t time.Time) (time.Weekday, bool) {
	clock := time.Duration(t.Hour())*time.Hour + time.Duration(t.Minute())*time.Minute + time.Duration(t.Second())*time.Second
	switch {
	case h.From < h.To:
		return t.Weekday(), clock >= h.From && clock < h.To
	case clock >= h.From:
		return t.Weekday(), true
	}
	return (t.Weekday() + 6) % 7, clock < h.To
}

// Route says where an event goes: who is on call for its responder, and who is
// called when nobody has acknowledged it. local is its time at the site; an
// event that calls nobody at once has no route.
func (c *Calls) Route(e *alarm.Event, local time.Time) alarm.Route {
	if e.Notify != alarm.Now {
		return alarm.Route{}
	}
	r := alarm.Route{Call: c.onCall(e.Responder, local)}
	if e.Kind == alarm.Escalated {
		r.Call = orElse(c.next(e.Escalation), r.Call)
	}
	if c.Quiet != (Hours{}) {
		_, r.Quiet = c.Quiet.begins(local)
	}
	if e.EscalateIn > 0 {
		r.EscalateTo, r.EscalateAfter = c.next(e.Escalation+1), e.EscalateIn
	}
	return r
}

// next is who is called at a level of escalation; "" when nobody is named.
func (c *Calls) next(level int) string {
	if len(c.EscalateTo) == 0 {
		return ""
	}
	return c.EscalateTo[min(level, len(c.EscalateTo))-1]
}

func (c *Calls) onCall(who alarm.Responder, local time.Time) string {
	for _, line := range c.Rota {
		day, within := local.Weekday(), true
		if line.Hours != (Hours{}) {
			day, within = line.Hours.begins(local)
		}
		if line.Responder == who && within && (len(line.Days) == 0 || slices.Contains(line.Days, day)) {
			return line.Call
		}
	}
	return ""
}
