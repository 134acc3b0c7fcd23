package main

import (
	"slices"
	"strings"
	"time"

	"pumpside/configs"
	"pumpside/drivers"
	"pumpside/rules/alarm"
)

// words turns events into what people read, with the names of this site.
type words struct {
	sites map[string]alarm.Site                  // by pump; "" for the site itself
	pumps map[string]configs.Pump                // by pump
	along map[string]map[drivers.Signal][]string // by pump: tags of the others of its group that have a signal from the same point

	groups map[string]string // what people call a group, by id
	calls  *configs.Calls
	zone   *time.Location
}

func wordsOf(c *configs.Config) words {
	w := words{sites: map[string]alarm.Site{}, pumps: map[string]configs.Pump{}, along: alongIn(c), groups: map[string]string{}, calls: &c.Site.Calls, zone: c.Site.TimeZone}
	hazards := strings.Join(c.Site.Hazards, "; ")
	tags := map[string]string{}
	for _, p := range c.Pumps {
		tags[p.ID] = p.Tag
	}
	w.sites[""] = alarm.Site{Tags: tags, Name: c.Site.Title, Location: c.Site.Location, Hazards: hazards, Units: c.Site.Units}
	for _, g := range c.Groups {
		w.groups[g.ID] = g.Title
	}
	for _, p := range c.Pumps {
		s := w.sites[""]
		s.Pump, s.Tag = p.Tag, p.Tag
		s.Location = joined(", ", c.Site.Location, p.Location)
		s.Hazards = joined("; ", append(append([]string{}, c.Site.Hazards...), p.Hazards...)...)
		if i, _, grouped := c.Rules.GroupOf(p.ID); grouped {
			s.Group = c.Groups[i].Title
		}
		w.sites[p.ID] = s
		w.pumps[p.ID] = p
	}
	return w
}

// alongIn finds for each pump's signals who else of its group reads them from
// the same point.
func alongIn(c *configs.Config) map[string]map[drivers.Signal][]string {
	along := map[string]map[drivers.Signal][]string{}
	for _, p := range c.Pumps {
		along[p.ID] = map[drivers.Signal][]string{}
		for _, other := range c.Pumps {
			i, _, grouped := c.Rules.GroupOf(p.ID)
			j, _, together := c.Rules.GroupOf(other.ID)
			if other.ID == p.ID || !grouped || !together || i != j {
				continue
			}
			for _, f := range p.Feeds {
				if slices.Contains(other.Feeds, f) {
					along[p.ID][f.Signal] = append(along[p.ID][f.Signal], other.Tag)
				}
			}
		}
	}
	return along
}

// joined puts a separator between the texts that are not empty.
func joined(separator string, texts ...string) string {
	var some []string
	for _, t := range texts {
		if t != "" {
			some = append(some, t)
		}
	}
	return strings.Join(some, separator)
}

// names gives what the words of an event of a pump need besides the event; ""
// is the site itself.
func (w words) names(pump string, e *alarm.Event) alarm.Site {
	s, known := w.sites[pump]
	if !known {
		s = w.sites[""]
		s.Pump = pump
	}
	if e.Group != "" {
		s.Group = w.groups[e.Group]
	}
	s.Route = w.calls.Route(e, e.At.Wall.In(w.zone))
	p := w.pumps[pump]
	s.Subject = p.Titles[e.Subject]
	if one, about := w.pumps[e.Subject]; pump == "" && about {
		s.Subject = one.Tag
	}
	if title, about := w.groups[e.Subject]; pump == "" && about {
		s.Subject = title
	}
	if strings.HasPrefix(e.Alarm, e.Signal.String()+"_") { // it is about the value, not about the pump
		s.Along = w.along[pump][e.Signal]
	}
	s.DriveFault = p.DriveFaults.Text(e.DriveFaultCode)
	if parts := p.Parts[e.Subject]; parts != "" {
		s.Parts = []string{parts}
	}
	return s
}

// render gives the words for an event.
func (w words) render(pump string, e *alarm.Event) alarm.Message {
	return alarm.Render(*e, w.names(pump, e))
}
