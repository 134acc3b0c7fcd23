package alarm

// Safety stands directly before the first action that opens or touches
// equipment. No setting removes or changes it.
const Safety = "Advisory only, not a safety function. The pump may start by itself. Stop, isolate from the process on every side, lock out and tag out, " +
	"wait the drive's discharge time, bleed to zero and verify at every head and both sides of the line check valve (valves trap pressure; a dampener holds its own gas; gas can flow back), " +
	"let hot glycol cool, test for gas, wear the site's PPE, follow permit and area classification. Authorised persons only; local codes, site procedure and the maker's manual govern."

// SafetyRunning stands before work for which the pump runs and nothing is
// opened but a sample point: a sample, or a run of the standby.
const SafetyRunning = "Advisory only, not a safety function. The pump runs for this work, and may start, stop or change speed by itself. The circuit is hot and under pressure. " +
	"Keep everyone clear of what moves, leave guards on, open nothing but the sample point, stand out of the way of hot glycol and flash gas, test for gas, wear the site's PPE, " +
	"follow permit and area classification. Authorised persons only; local codes, site procedure and the maker's manual govern."

// SafetyFor is the caution for work that opens or touches equipment, or else
// for work at a pump that runs.
func SafetyFor(opens bool) string {
	if opens {
		return Safety
	}
	return SafetyRunning
}

// inOrder gives the hands-off actions, then the safety text if there is
// anything behind it, then the hands-on actions.
func inOrder(actions []Action) []Action {
	var hands, list []Action
	for _, a := range actions {
		if a.Hands == On {
			hands = append(hands, a)
		} else {
			list = append(list, a)
		}
	}
	if len(hands) == 0 {
		return list
	}
	list = append(list, Action{Safety, Before})
	return append(list, hands...)
}
