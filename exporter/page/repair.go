package page

import (
	"pumpside/rules"
)

// A followedPart is what is seen of work that was done: whether the last repair
// held, and how much oil goes.
type followedPart struct {
	Repair string // "" when none is followed
	Failed bool   // it did not hold
	Oil    string // "" while too few top-ups are recorded
	Rising bool   // more oil goes than before
}

func followedOf(v viewer, pump *Pump) followedPart {
	part := followedPart{}
	if r := pump.Repair; r != nil {
		part.Repair, part.Failed = repairWords(v, pump, r), r.Verdict == "not_repaired"
	}
	if o := pump.OilUse; o != nil {
		part.Oil = "Oil topped up: " + fixed(o.Lately, 1) + " L in 1000 h run lately, " + fixed(o.Before, 1) + " L before"
		if part.Rising = o.Rising; o.Rising {
			part.Oil += ". More oil goes: look at the shaft seal and the diaphragms"
		}
	}
	return part
}

// repairVerdicts say whether work held.
var repairVerdicts = map[string]string{
	"":             "too early to tell whether it held",
	"repaired":     "it held",
	"not_repaired": "it did not hold",
	"cannot_tell":  "nobody can tell whether it held",
}

func repairWords(v viewer, pump *Pump, r *rules.RepairView) string {
	text := "Last repair, " + pump.title(r.Task) + " of " + v.Clock.instant(r.At) + ": " + repairVerdicts[r.Verdict]
	if r.Why != "" {
		text += " (" + r.Why + ")"
	}
	return text
}
