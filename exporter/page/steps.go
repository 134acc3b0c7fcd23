package page

import "pumpside/rules/alarm"

// A step is one line of what to do. The safety text between two steps has no
// number, as on a phone and in a terminal: people read numbers to each other.
type step struct {
	Number int // from 1; 0 for the safety text
	Text   string
}

func stepsOf(actions []alarm.Action) (list []step) {
	n := 0
	for _, a := range actions {
		if a.Hands == alarm.Before {
			list = append(list, step{Text: a.Text})
			continue
		}
		n++
		list = append(list, step{n, a.Text})
	}
	return list
}
