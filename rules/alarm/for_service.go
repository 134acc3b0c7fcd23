package alarm

import (
	"strings"

	"pumpside/drivers/quantity"
)

// RunInOil is the service task of the first oil change of a new or repaired
// hydraulic end. Its definitions take the texts that say why it comes so early;
// an event has those, whatever its task is called, only while the first oil is in.
const RunInOil = "run_in_oil_change"

// ServiceAlarms gives the two advisories of one service task: NAME_due, which
// is due soon at its first limit and due at the worse one, and NAME_overdue.
// Their value is the share of life used. The service rules judge them so that
// the first is over when the second begins.
func ServiceAlarms(task string) []Definition {
	stem := "service"
	if task == RunInOil {
		stem = "run_in_oil"
	}
	due := Definition{
		Name: topicName(task) + "_due", Text: stem + "_due_soon", WorseText: stem + "_due", Subject: task, Dimension: quantity.Share,
		Class: Advisory, Priority: Low, WorsePriority: Medium, Responder: Mechanic, Notify: NextWorkingDay,
	}
	over := due
	over.Name, over.Text, over.WorseText = topicName(task)+"_overdue", stem+"_overdue", ""
	over.Priority = Medium
	return []Definition{due.timed(), over.timed()}
}

// serviceStage is the text of a service task without whether it is of the first
// oil, such as "due"; another text is its own.
func serviceStage(text string) string {
	if stage, first := strings.CutPrefix(text, "run_in_oil_"); first {
		return stage
	}
	return strings.TrimPrefix(text, "service_")
}

// ServiceAsked gives the advisory that the diagnosis asks for a service task,
// whatever is left of its interval. Its value is how likely one of the parts
// that the task renews is at fault.
func ServiceAsked(task string) Definition {
	d := Definition{
		Name: topicName(task) + "_asked", Text: "service_asked", Subject: task, Dimension: quantity.Share,
		Class: Advisory, Priority: Low, Responder: Mechanic, Notify: NextWorkingDay,
	}
	return d.timed()
}
