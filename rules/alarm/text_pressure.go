package alarm

import "time"

// pressureTexts speak of limits on pressures.
var pressureTexts = map[string]Text{
	"suction_pressure_low": {
		Title:       "suction pressure low",
		Headline:    "suction pressure LOW[: {value}][, limit {limit}][, {duration}]",
		Cause:       "The strainer plugs, the tank is low, a suction valve is not fully open, or the glycol is cold and thick.",
		Consequence: "Glycol flashes in the heads: flow falls, valves hammer, and in the end the pump loses its prime.",
		Actions: []Action{
			off("Look at tank level, glycol temperature and strainer differential pressure on the screen."),
			off("Run slower by site procedure, or change over to the standby pump."),
			on("Check the suction valves, then clean the strainer."),
		},
		NotKnown: "Whether the other pump on the same suction suffers too, where it has no signal of its own.",
		Parts:    []string{"strainer element and gasket"},
		Respond:  time.Hour, Circulation: true,
	},
	"suction_pressure_high": {
		Title:    "suction pressure high",
		Headline: "suction pressure HIGH[: {value}][, limit {limit}][, {duration}]",
		Cause:    "Gas or glycol comes back from the contactor side through check valves that do not hold, or the tank is over-pressured, or a booster pump runs against little flow.",
		Consequence: "Suction line, tank and reboiler are not built for contactor pressure. " +
			"Gas can be released at the tank vent.",
		Actions: []Action{
			off("Keep people away from the tank vents and the pump."),
			off("If the pump is stopped: treat it as gas flowing back, and cut it off from the contactor with its remote or automatic valves, by site procedure."),
			off("If it runs: look at booster pump and tank pressure on the screen."),
			on("Overhaul the line check valve and the pump's check valves."),
		},
		NotKnown: "Whether it is gas or glycol that raises it.",
		Parts:    []string{"line check valve or its internals", "check valve kit"},
		Respond:  15 * time.Minute, Circulation: true,
	},
	"discharge_pressure_low": {
		Title:       "discharge pressure low",
		Headline:    "discharge pressure LOW[: {value}][, limit {limit}][, {duration}]",
		Cause:       "The pump does not deliver, a bypass or relief valve passes, the line leaks, or the contactor pressure fell.",
		Consequence: "Glycol may not reach the contactor. If the line leaks, hot glycol is spilled.",
		Actions: []Action{
			off("Compare with contactor pressure and flow on the screen: they tell a process change from a pump or line fault."),
			off("Think of a leak: look along the line from a distance."),
			off("If flow is low too, take the next step; else it can wait."),
			off("{take_over}"),
			on("Inspect the check valves of every head."),
		},
		NotKnown: "Whether pump or process is the cause, if the contactor pressure is not measured.",
		Parts:    []string{"check valve kit"},
		Respond:  30 * time.Minute, Circulation: true,
	},
	"discharge_pressure_high": {
		Title:       "discharge pressure high",
		Headline:    "discharge pressure HIGH[: {value}][, limit {limit}][, {duration}]",
		Cause:       "The discharge filter plugs, a valve downstream is not fully open, glycol is cold and thick, or the contactor pressure rose.",
		Consequence: "The relief valve lifts, the drive is overloaded and gaskets are strained.",
		Actions: []Action{
			off("Compare with contactor pressure on the screen: if that rose as well, the process is the cause."),
			off("See on the screen that the whole way to the contactor is open."),
			off("If it still rises, stop the pump by site procedure and start the standby if its way is clear."),
			on("Renew the discharge filter element."),
		},
		NotKnown: "Where the way is narrow, if only one pressure is measured.",
		Parts:    []string{"discharge filter element and gasket"},
		Respond:  30 * time.Minute, Circulation: true,
	},
	"strainer_differential_pressure_high": {
		Title:       "suction strainer plugging",
		Headline:    "suction strainer PLUGGING[: takes {value}][, limit {limit}]",
		Cause:       "The strainer holds dirt, or the glycol is cold and thick.",
		Consequence: "The suction starves: flow falls and valves hammer. Dirt that gets through holds check valves open.",
		Actions: []Action{
			off("Look at the glycol temperature: the same strainer takes more when cold."),
			off("Change over to the standby pump by site procedure."),
			on("Clean the strainer, look at what it held, and record it."),
		},
		Parts:   []string{"strainer element and gasket"},
		Respond: 8 * time.Hour,
	},
	"filter_differential_pressure_high": {
		Title:       "glycol filter plugging",
		Headline:    "glycol filter PLUGGING[: takes {value}][, limit {limit}]",
		Cause:       "The filter is loaded with dirt, or the glycol is cold and thick.",
		Consequence: "Discharge pressure and load climb. The element can burst and let the dirt through.",
		Actions: []Action{
			off("Look at the glycol temperature: the same filter takes more when cold."),
			off("Change over to the second filter by site procedure, if there is one."),
			on("Renew the element, look at what it held, and record it."),
		},
		Parts:   []string{"discharge filter element and gasket"},
		Respond: 8 * time.Hour,
	},
	"contactor_pressure_high": {
		Title:       "contactor pressure high",
		Headline:    "contactor pressure HIGH[: {value}][, limit {limit}][, {duration}]",
		Cause:       "The process, not the pump: the gas side rose.",
		Consequence: "The pump works against more than usual; load and wear rise, and the relief valve of the line may lift.",
		Actions:     []Action{off("Act on the gas side by site procedure."), off("Watch discharge pressure and motor load.")},
		Respond:     30 * time.Minute,
	},
	"contactor_pressure_low": {
		Title:       "contactor pressure low",
		Headline:    "contactor pressure LOW[: {value}][, limit {limit}][, {duration}]",
		Cause:       "The process, not the pump: the gas side fell.",
		Consequence: "Gas at low pressure holds more water and moves faster: it can carry glycol over.",
		Actions:     []Action{off("Act on the gas side by site procedure."), off("Watch the glycol level: carry-over empties the tank.")},
		Respond:     30 * time.Minute,
	},
}
