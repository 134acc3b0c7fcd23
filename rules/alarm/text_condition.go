package alarm

import "time"

// conditionTexts speak of what is concluded about wear.
var conditionTexts = map[string]Text{
	"loss_in_one_head": {
		Title:    "one head loses flow",
		Headline: "one head loses flow: {cause|side and cylinder not determinable}[, leak {value} of a head]",
		Cause: "The pressure has gained a line at once per turn that this pump did not have when its normal state was learned. " +
			"One half-stroke of one head moves less: a check valve or its seat, debris under it, or the hydraulic side of that head: a plunger seal, or the relief valve of its oil cell that lifts.",
		Consequence: "Flow falls slowly, then fast: a cut seat can go from a small leak to none of the flow within hours to days. No date can be given for it.",
		Actions: []Action{
			off("Look whether the strainer differential pressure rose: debris comes and goes."),
			off("Compare with the last service: a head can be gassy for some hours after work."),
			off("Plan a visit with the kit below, sooner if no standby is left."),
			on("Clean the strainer first."),
			on("Inspect the check valves of the head named, seats and O-rings too. With no head named, all of them."),
			on("Put back what was found good. Record what was found, even if it was nothing."),
		},
		NotKnown: "Which part it is. Valve and hydraulic side of a head look alike; the shares above say how likely each is.",
		Parts:    []string{"check valve kit", "seat O-rings", "strainer element and gasket"},
		Respond:  7 * 24 * time.Hour,
	},
	"head_failing": {
		Title:    "one head failing, no standby",
		Headline: "one head FAILING[, efficiency {value}][, limit {limit}]",
		Cause:    "One half-stroke of one head has lost flow for hours, the pump as a whole delivers a fifth less than it did, and no standby is ready.",
		Consequence: "A cut seat can go from a small leak to none of the flow within hours to days. Nothing would circulate in this pump's place: " +
			"gas goes out wet.",
		Actions: []Action{
			off("Look whether the glycol that is left dries the gas; else cut the gas back, by site procedure."),
			off("Get a standby ready, if there is one, by site procedure."),
			off("Send a mechanic with the kit below. The alarm about the head says which, as far as it can be told."),
			on("Clean the strainer first."),
			on("Inspect the check valves of the head named, seats and O-rings too. With no head named, all of them."),
		},
		NotKnown:    "Which part it is, and how long it lasts.",
		Parts:       []string{"check valve kit", "seat O-rings", "strainer element and gasket"},
		Respond:     4 * time.Hour,
		Circulation: true,
	},
	"leak_down": {
		Title:    "pressure falls fast after a stop",
		Headline: "pressure falls FAST after stops[: {value} lost in a minute][, limit {limit}]",
		Cause: "The discharge pressure of the stopped pump falls faster than after the stops it was learned from. Behind a line check valve that holds, " +
			"valves or seats of the pump let it down; else a drain, a bypass or the relief valve passes.",
		Consequence: "The pump loses flow while it runs, and there is less between the contactor and the suction while it is stopped.",
		Actions: []Action{
			off("Look at flow and efficiency for the same time: if they fell too, the pump's own valves are the likelier cause."),
			off("See on the screen that bypass and drains are shut."),
			off("Plan a visit, sooner if suction pressure or tank level rise while the pump is stopped."),
			on("Inspect the check valves of every head, and the line check valve."),
		},
		NotKnown: "Which valve it is: the fall names none. A line check valve that passes hides the pump's own.",
		Parts:    []string{"check valve kit", "line check valve or its internals"},
		Respond:  14 * 24 * time.Hour,
	},
	"finding": {
		Title:       "condition has changed",
		Headline:    "pump has changed: {cause|no known cause fits}",
		Cause:       "Flow, pressure ripple and load have moved away from what was learned as this pump's normal state.",
		Consequence: "Left alone it usually grows. How fast is not known.",
		Actions: []Action{
			off("Read the evidence below against what was done at the pump lately."),
			off("Take it up at the next planned visit, sooner if it grows."),
		},
		NotKnown: "Whether the state that was learned as normal was a healthy one.",
		Respond:  14 * 24 * time.Hour,
	},
	"efficiency_low": {
		Title:       "pump efficiency low",
		Headline:    "volumetric efficiency LOW[: {value}][, limit {limit}]",
		Cause:       "The pump delivers less per turn than it did: suction short of glycol, a bypass or relief valve that passes, wear of valves or plungers, thin hot oil.",
		Consequence: "The glycol rate falls, or speed and wear rise to hold it.",
		Actions: []Action{
			off("Look at the return line temperature on the screen: a warm line means that the bypass or the relief valve passes."),
			off("Compare cold and warm: wear of plungers shows warm, a starved suction shows fast."),
			off("Plan a visit."),
			on("Clean the strainer, then inspect the check valves of every head."),
		},
		NotKnown: "Whether the flow meter reads right.",
		Parts:    []string{"strainer element and gasket", "check valve kit"},
		Respond:  7 * 24 * time.Hour,
	},
	"efficiency_impossible": {
		Title:       "efficiency above what is possible",
		Headline:    "measured flow is {value|more than} of what the pump can move",
		Cause:       "No pump moves more than its plungers sweep. The flow meter over-reads in pulsation, or bore, stroke, ratio or speed is wrong in the configuration.",
		Consequence: "Efficiency and everything concluded from it are not to be believed.",
		Actions: []Action{
			off("Check bore, stroke, ratio and the meter's scale in the configuration."),
			off("Have the meter's reading compared with a tank level over an hour."),
		},
		NotKnown: "Which of the numbers is wrong.",
		Respond:  7 * 24 * time.Hour,
	},
	"baseline_learned": {
		Title:    "normal state learned",
		Headline: "normal state learned",
		Cause:    "From now on changes of this pump are judged against it. It is learned, not confirmed healthy.",
	},
	"baseline_forgotten": {
		Title:    "normal state forgotten",
		Headline: "normal state and line forgotten: the pump, its index or its pressure signal is configured otherwise",
		Cause:    "What was learned belonged to another set of numbers. It is learned anew; the line is measured at the next start.",
	},
	"line_confirmed": {
		Title:    "line learned from a repair",
		Headline: "line learned from {subject|a repair}: the valve found tells how the pressure follows the flow",
		Cause:    "From now on side and cylinder can be named at this speed, until piping, dampener, index or rotation change.",
	},
	"naming_withheld": {
		Title:    "naming of cylinders withheld",
		Headline: "naming of cylinders withheld until the direction of rotation is confirmed",
		Cause:    "Electrical work was recorded. With the rotation reversed cylinders 2 and 3 change places, and no signal shows it.",
	},
	"index_moved": {
		Title:    "shaft index moved",
		Headline: "shaft index moved or rotation changed",
		Cause:    "At the same speed and pressure the ripple is at another angle than before. No head is named until someone has confirmed index and rotation.",
	},
	"finding_began": {Title: "finding began", Headline: "something changed at the pump: {cause|no known cause fits}", Cause: "It is watched for some hours before a visit is advised."},
	"finding_grows": {
		Title: "leak grows", Headline: "the leak grows: {cause|one head}",
		Cause: "The trend over some days of running is more than chance. A cut seat may fail much sooner than it says.",
	},
	"finding_passed": {Title: "finding passed", Headline: "the change at the pump has passed: {cause|no known cause fits}"},
}
