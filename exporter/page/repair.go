package page

import (
	"strings"

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
		part.Oil = "oil topped up: " + fixed(o.Lately, 1) + " L in 1000 h run lately, " + fixed(o.Before, 1) + " L before"
		if part.Rising = o.Rising; o.Rising {
			part.Oil += ": more oil goes, look at the shaft seal and the diaphragms"
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
	text := "last repair, " + pump.title(r.Task) + " of " + v.Clock.instant(r.At) + ": " + repairVerdicts[r.Verdict]
	if r.Why != "" {
		text += " (" + r.Why + ")"
	}
	return text
}

// A wearRow is what one pump's wear has come to.
type wearRow struct {
	Pump, Tag, Words string
	Visit            bool // it has lasted long enough to go there
}

// wearOf is false when there is nothing to tell.
func wearOf(v viewer, pump *Pump) (wearRow, bool) {
	row := wearRow{Pump: pump.ID, Tag: pump.Tag}
	var words []string
	if c := pump.Condition; c != nil && len(c.Changed) > 0 {
		text := "not as learned since " + v.Clock.instant(c.Since)
		if worst := pump.worstCause(); worst != nil {
			text += ", likeliest " + causeWords(worst) + " " + percent(worst.Probability) + " %"
		}
		words, row.Visit = append(words, text), c.Visit
	}
	followed := followedOf(v, pump)
	if pump.Repair != nil {
		words = append(words, followed.Repair)
	}
	if followed.Rising {
		words = append(words, followed.Oil)
	}
	row.Words = strings.Join(words, "; ")
	return row, len(words) > 0
}
