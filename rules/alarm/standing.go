package alarm

import (
	"cmp"
	"fmt"
	"maps"
	"slices"
	"time"
)

// standing has the alarms that need more than one signal or none, by name,
// which is the key of their text too where they name none. Their conditions are judged by the
// engine or by the site's rules; everything else is said here.
var standing = tabulate(pumpAlarms, groupAlarms, siteAlarms)

func tabulate(tables ...map[string]Definition) map[string]Definition {
	all := map[string]Definition{}
	for _, table := range tables {
		for name, d := range table {
			d.Name, d.Text = name, cmp.Or(d.Text, name)
			d.WorsePriority = max(d.WorsePriority, d.Priority)
			all[name] = d.timed()
		}
	}
	return all
}

// aWorkingDay is the least time to respond of what waits for the working day.
const aWorkingDay = 24 * time.Hour

// timed fills in the time to respond from the catalogue where d says none. What
// waits for the next working day has a day at least, but for an alarm of high
// priority: for that another message has called.
func (d Definition) timed() Definition {
	if t, ok := TextOf(d.Text); ok && d.TimeToRespond == 0 {
		d.TimeToRespond = t.Respond
	}
	urgent := d.Class == Alarm && d.Priority == High
	if d.Notify == NextWorkingDay && d.TimeToRespond > 0 && !urgent {
		d.TimeToRespond = max(d.TimeToRespond, aWorkingDay)
	}
	return d
}

// Standing gives the definition of a standing alarm. It panics on a name that
// is not in the tables, which is a mistake of the program.
func Standing(name string) Definition {
	d, ok := standing[name]
	if !ok {
		panic(fmt.Sprintf("alarm: there is no standing alarm %q", name))
	}
	return d
}

// StandingNames lists the standing alarms in alphabetical order.
func StandingNames() []string { return slices.Sorted(maps.Keys(standing)) }

// About gives the standing alarm for one of several subjects: a device, a
// bus, a service task. Its name is the subject's with the alarm's behind.
func About(name, subject string) Definition {
	d := Standing(name)
	d.Name = topicName(subject) + "_" + name
	d.Subject = subject
	return d
}

// OfGroup gives a standing alarm for one group of pumps. Its name is the
// group's with the alarm's behind.
func OfGroup(name, group string) Definition {
	d := Standing(name)
	d.Name = topicName(group) + "_" + name
	d.Group = group
	return d
}

// topicName makes a name out of what a site calls a thing.
func topicName(subject string) string {
	name := []byte(subject)
	for i, c := range name {
		switch {
		case c >= 'A' && c <= 'Z':
			name[i] = c + 'a' - 'A'
		case c >= 'a' && c <= 'z', c >= '0' && c <= '9', c == '-':
		default:
			name[i] = '_'
		}
	}
	return string(name)
}

// A Change is what a site wants otherwise; nil leaves the default.
type Change struct {
	Class         *Class
	Priority      *Priority
	WorsePriority *Priority
	Responder     *Responder
	Notify        *Notify
	Latching      *bool
	OnDelay       *time.Duration
	OffDelay      *time.Duration
	ReAlarm       *time.Duration
	Blanking      *time.Duration
	TimeToRespond *time.Duration
	SuppressedBy  *Logic
}

// With gives d with the change made. Raising the priority of the first limit
// raises that of the worse one along.
func (d Definition) With(c Change) Definition {
	set(&d.Class, c.Class)
	set(&d.Priority, c.Priority)
	set(&d.WorsePriority, c.WorsePriority)
	set(&d.Responder, c.Responder)
	set(&d.Notify, c.Notify)
	set(&d.Latching, c.Latching)
	set(&d.OnDelay, c.OnDelay)
	set(&d.OffDelay, c.OffDelay)
	set(&d.ReAlarm, c.ReAlarm)
	set(&d.Blanking, c.Blanking)
	set(&d.TimeToRespond, c.TimeToRespond)
	set(&d.SuppressedBy, c.SuppressedBy)
	if c.WorsePriority == nil {
		d.WorsePriority = max(d.WorsePriority, d.Priority)
	}
	return d
}

func set[T any](to, from *T) {
	if from != nil {
		*to = *from
	}
}
