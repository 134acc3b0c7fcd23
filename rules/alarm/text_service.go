package alarm

import "time"

// serviceTexts speak of tasks that come due. The subject is the task.
var serviceTexts = map[string]Text{
	"service_due_soon": {
		Title:       "service due soon",
		Headline:    "{subject} due soon[, {value} of its interval used]",
		Cause:       "Hours, strokes or calendar come near the interval of this task.",
		Consequence: "None yet. Planned together with others it saves a trip.",
		Actions: []Action{
			off("Put it on the next visit and order the kit."),
		},
		NotKnown: "The state of the part: this counts use, it does not measure wear.",
		Respond:  14 * 24 * time.Hour,
	},
	"service_due": {
		Title:       "service due",
		Headline:    "{subject} DUE[, {value} of its interval used]",
		Cause:       "The interval of this task has been used up in hours, strokes or calendar.",
		Consequence: "From here on a failure in service becomes likelier than it need be.",
		Actions: []Action{
			off("Plan the visit, with the other tasks that are due or nearly so."),
			on("Do the task by the maker's manual."),
			on("Record it: date, hours as read, what was found."),
		},
		NotKnown: "The state of the part: this counts use, it does not measure wear.",
		Respond:  14 * 24 * time.Hour,
	},
	"service_overdue": {
		Title:       "service overdue",
		Headline:    "{subject} OVERDUE[, {value} of its interval used]",
		Cause:       "The task was due and has not been recorded. It may have been done without a record.",
		Consequence: "A failure in service is likely to cost more than the task: a lost valve or seal takes others along.",
		Actions: []Action{
			off("Ask whether it was done. If so, record it with its true date and hours."),
			off("If not, plan it now."),
			on("Do the task by the maker's manual and record it."),
		},
		NotKnown: "Whether it was done without a record.",
		Respond:  7 * 24 * time.Hour,
	},
	"service_asked": {
		Title:       "service asked for by the diagnosis",
		Headline:    "{subject} DUE by what is measured[, {value} likely]",
		Cause:       "What is measured points at a part that this task renews, and has done so for long enough to advise a visit. Its interval need not be used up.",
		Consequence: "A part that leaks wears away its seat: it gets worse faster than it began.",
		Actions: []Action{
			off("Read the finding: causes and numbers are with its own advisory."),
			off("Plan the visit, with the other tasks that are due or nearly so."),
			on("Inspect the part before it is renewed, by the maker's manual."),
			on("Record it with the state the part was found in: that is how the diagnosis is scored."),
		},
		NotKnown: "Which part it is: the diagnosis names half a stroke of a head at best.",
		Respond:  14 * 24 * time.Hour,
	},
	"run_in_oil_due_soon": {
		Title:       "run-in oil change due soon",
		Headline:    "run-in oil change due soon[, {value} of the run-in used]",
		Cause:       "A new or repaired hydraulic end sheds fine metal while it runs in. The first oil carries it and must come out early.",
		Consequence: "None yet.",
		Actions:     []Action{off("Put it on the next visit and order the oil.")},
		Parts:       []string{"hydraulic oil for a filling", "filter and drain plug gasket"},
		Respond:     14 * 24 * time.Hour,
	},
	"run_in_oil_due": {
		Title:       "run-in oil change due",
		Headline:    "run-in oil change DUE[, {value} of the run-in used]",
		Cause:       "A new or repaired hydraulic end sheds fine metal while it runs in. The first oil carries it and must come out now.",
		Consequence: "Left in, the metal wears plungers and make-up valves for the rest of their life.",
		Actions: []Action{
			off("Plan the visit."),
			on("Drain the oil warm, not hot, clean the magnet, and fill with new oil of the maker's grade."),
			on("Look at the old oil for metal and for milk, and record it."),
		},
		NotKnown: "How much metal is in the oil.",
		Parts:    []string{"hydraulic oil for a filling", "filter and drain plug gasket"},
		Respond:  14 * 24 * time.Hour,
	},
	"run_in_oil_overdue": {
		Title:       "run-in oil change overdue",
		Headline:    "run-in oil change OVERDUE[, {value} of the run-in used]",
		Cause:       "The first oil of a new or repaired hydraulic end is still in, or its change was not recorded.",
		Consequence: "Fine metal wears plungers and make-up valves with each hour.",
		Actions: []Action{
			off("Ask whether it was done. If so, record it with its true date and hours."),
			off("If not, plan it now."),
			on("Drain the oil warm, not hot, clean the magnet, and fill with new oil of the maker's grade."),
		},
		NotKnown: "Whether it was done without a record.",
		Parts:    []string{"hydraulic oil for a filling", "filter and drain plug gasket"},
		Respond:  7 * 24 * time.Hour,
	},
	"service_recorded":       {Title: "service recorded", Headline: "service recorded[: {subject}][: {oil_added} of oil topped up]"},
	"service_undone":         {Title: "service record taken back", Headline: "service record taken back[: {subject}]"},
	"service_held":           {Title: "the work held", Headline: "the work held: {subject}"},
	"service_not_held":       {Title: "the work did not help", Headline: "the work did NOT help: {subject}", Cause: "The pump measures as it did before the work, not as when it was last well."},
	"service_effect_unknown": {Title: "effect of the work not known", Headline: "whether the work helped cannot be told: {subject}"},
	"service_hours_disputed": {Title: "service hours disputed", Headline: "hours in the service record disputed: {subject}[, {value} recorded][, {limit} counted here]", Cause: "The hours read at the panel do not fit those counted here. Both are kept."},
}
