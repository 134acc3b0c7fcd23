package alarm

import (
	"fmt"
	"strings"
)

// String gives the message as a phone shows it: the headline, then line by
// line what a person needs in the order of need.
func (m Message) String() string {
	var b strings.Builder
	line := func(label, text string) {
		if text != "" {
			fmt.Fprintf(&b, "%s%s\n", label, text)
		}
	}
	line("", m.Headline)
	line("Why: ", m.Cause)
	line("If nobody acts: ", m.Consequence)
	m.writeActions(&b)
	line("Worst first: ", strings.Join(m.Alarms, "; "))
	line("Likely: ", strings.Join(m.Causes, "; "))
	line("Seen: ", strings.Join(m.Evidence, "; "))
	line("Not known: ", strings.Join(m.NotKnown, " "))
	line("Bring: ", strings.Join(m.Parts, "; "))
	line("Where: ", m.Where)
	line("Hazards here: ", m.Hazards)
	line("Last service: ", m.LastService)
	line("Drive fault: ", m.DriveFault)
	return b.String()
}

func (m Message) writeActions(b *strings.Builder) {
	number := 0
	for _, a := range m.Actions {
		if a.Hands == Before {
			fmt.Fprintf(b, "BEFORE TOUCHING ANYTHING: %s\n", a.Text)
			continue
		}
		number++
		fmt.Fprintf(b, "%d. %s\n", number, a.Text)
	}
}
