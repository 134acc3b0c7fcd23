package report

import (
	"strings"
	"time"
)

// A story is all that happened to one occurrence of an alarm, or one fact, as
// one line.
type story struct {
	at    time.Time // of its beginning
	where string
	text  string
}

// storiesOf folds changes, newest first, into stories in the order of their
// newest news.
func storiesOf(list []Change) []story {
	var order []string
	parts := map[string][]Change{} // oldest first
	for i := range list {
		c := list[i]
		key := c.Pump + "/" + c.Alarm + "/" + string(rune(c.Occurrence))
		if c.Occurrence == 0 {
			key = "" // a fact of its own
		}
		if key == "" || parts[key] == nil {
			if key == "" {
				key = c.Pump + c.At.String() + c.Text
			}
			order = append(order, key)
		}
		parts[key] = append([]Change{c}, parts[key]...)
	}
	stories := make([]story, len(order))
	for i, key := range order {
		stories[i] = tell(parts[key])
	}
	return stories
}

// tell makes one line of what belongs together.
func tell(parts []Change) story {
	first, last := parts[0], parts[len(parts)-1]
	said := []string{first.Title}
	for _, c := range parts {
		if word := happened(c); word != "" {
			said = append(said, word)
		}
	}
	switch {
	case last.Alarm == "" || last.Occurrence == 0:
	case last.Active:
		said = append(said, "ACTIVE")
	default:
		said = append(said, "gone after "+span(last.At.Sub(first.At)))
	}
	return story{at: first.At, where: first.Where, text: strings.Join(said, ", ")}
}

// happened is what one entry adds to the line; "" for what the line says
// already.
func happened(c Change) string {
	switch c.Event {
	case "raised", "cleared", "recorded", "service_recorded":
		return ""
	}
	text := spaced(c.Event)
	if c.User != nil {
		text += " by " + *c.User
	}
	if c.Comment != "" {
		text += " (" + c.Comment + ")"
	}
	return text
}
