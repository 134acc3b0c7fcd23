package alarm

import (
	"fmt"
	"strings"
)

// evidenceNames are the evidence keys whose name alone does not read well.
// Every other key is read with spaces, so that a signal's name serves.
var evidenceNames = map[string]string{
	"lasted":               "lasted",
	"credited_run_time":    "running added:",
	"at_most_run_time":     "at most:",
	"reckoned_strokes":     "strokes per plunger, estimated:",
	"meter_before":         "meter before:",
	"meter_after":          "meter after:",
	"run_time":             "run time:",
	"strokes_per_plunger":  "strokes per plunger:",
	"withheld_notices":     "messages held back:",
	"starts_in_hour":       "starts in the last hour:",
	"missed_polls":         "polls missed in a row:",
	"flow_before":          "glycol flow before:",
	"restarts":             "restarts in 24 h:",
	"running_for":          "running for",
	"stopped_for":          "stopped for",
	"suction_rise":         "suction pressure rose by",
	"level_rise":           "tank level rose by",
	"volume_backwards":     "meter went backwards by",
	"share_of_rating":      "speed, of rated:",
	"ripple":               "pressure ripple",
	"ripple_before":        "pressure ripple before:",
	"efficiency_learned":   "efficiency learned:",
	"efficiency_healthy":   "efficiency when last well:",
	"efficiency_failing":   "efficiency before the work:",
	"efficiency_since":     "efficiency since:",
	"order_failing":        "once-per-turn line, off by before the work:",
	"order_since":          "once-per-turn line, off by since:",
	"oil_added":            "oil topped up:",
	"oil_use_before":       "oil topped up before, litres in 1000 h of running:",
	"oil_use_lately":       "lately:",
	"leak_failing":         "leak before the work, if it was one, of one head's flow:",
	"leak_since":           "leak since:",
	"leak_since_at_most":   "leak since at most:",
	"since_service":        "running since service:",
	"life_used":            "life used:",
	"disputed_for":         "witnesses disagree for",
	"order_change":         "change of the once-per-turn line:",
	"order_change_errors":  "change in standard errors:",
	"leak_ratio":           "leak, of one head's flow:",
	"hours_counted":        "run hours counted:",
	"pumps_delivering":     "pumps delivering:",
	"pumps_required":       "pumps required:",
	"pumps_backwards":      "pumps that show it:",
	"circulation_needed":   "circulation needed:",
	"circulation_given":    "circulation given:",
	"outbox_messages":      "messages waiting:",
	"outbox_dropped":       "messages dropped:",
	"dropped_messages":     "messages dropped:",
	"free_space":           "free space:",
	"write_takes":          "a write takes",
	"strokes_since_change": "strokes since change:",
}

// evidenceSentences are said in one line of several numbers. The key is that
// of the first; the others' lines are empty.
var evidenceSentences = map[string]string{
	"leak_began_at":       "leak grown from {leak_began_at} to {leak_grown_to} of one head's flow in {leak_grown_in} of running",
	"leak_grown_to":       "",
	"leak_grown_in":       "",
	"efficiency_began_at": "volumetric efficiency gone from {efficiency_began_at} to {efficiency_gone_to} of what was learned in {efficiency_gone_in} of running",
	"efficiency_gone_to":  "",
	"efficiency_gone_in":  "",
}

func evidenceWords(key string) string {
	if words, ok := evidenceNames[key]; ok {
		return words
	}
	return spaced(key)
}

// causeNames are the causes whose name alone does not read well.
var causeNames = map[string]string{
	"loss_in_discharge_half": "loss in the discharge half-stroke",
	"loss_in_suction_half":   "loss in the suction half-stroke",
	"none_of_these":          "none of the known causes",
}

// CauseWords gives the plain words for a cause with its cylinder.
func CauseWords(c Cause) string {
	words, ok := causeNames[c.Cause]
	if !ok {
		words = spaced(c.Cause)
	}
	switch {
	case c.Cylinder > 0:
		return fmt.Sprintf("%s of cylinder %d", words, c.Cylinder)
	case strings.HasPrefix(c.Cause, "loss_in_"):
		return words + ", cylinder not determinable"
	}
	return words
}

func causeLines(causes []Cause) []string {
	var list []string
	for _, c := range causes {
		list = append(list, fmt.Sprintf("%s: %.0f %%", CauseWords(c), 100*c.Probability))
	}
	return list
}
