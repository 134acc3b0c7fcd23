package alarm

import "time"

// levelTexts speak of limits on glycol level and temperature.
var levelTexts = map[string]Text{
	"glycol_level_low": {
		Title:       "glycol tank low",
		Headline:    "glycol tank LOW[: {value}][, limit {limit}][, {duration}]",
		Cause:       "Glycol is being lost: carry-over with the gas, a leak, flooding of the contactor or still; or it sits somewhere else in the loop.",
		Consequence: "The pump loses its suction, runs dry and the circulation stops. A reboiler fire tube that is no longer covered burns through.",
		Actions: []Action{
			off("Turn down the reboiler by site procedure before its tube is bare."),
			off("Look for where the glycol went: contactor level, separator, ground around the skid from a distance."),
			off("Have glycol brought, and stop the pump before the suction draws gas."),
			on("With the reboiler off and its tube cool if it was bare: fill glycol by site procedure."),
		},
		NotKnown: "Where the glycol went.",
		Parts:    []string{"glycol"},
		Respond:  time.Hour, Circulation: true,
	},
	"glycol_level_high": {
		Title:       "glycol tank high",
		Headline:    "glycol tank HIGH[: {value}][, limit {limit}][, {duration}]",
		Cause:       "Water is not boiled off, glycol came back from elsewhere in the loop, the tank was overfilled, or something flows back through a stopped pump.",
		Consequence: "The tank can overflow. If a pump is stopped and the level rises, gas may be on its way too.",
		Actions: []Action{
			off("See whether a pump is stopped: if so, treat it as gas flowing back through it."),
			off("Look at reboiler temperature: wet glycol fills the tank."),
			off("Make room by site procedure."),
		},
		NotKnown: "What raised the level.",
		Respond:  time.Hour,
	},
	"glycol_temperature_high": {
		Title:       "glycol at the pump hot",
		Headline:    "glycol at the pump HOT[: {value}][, limit {limit}][, {duration}]",
		Cause:       "The heat exchanger or cooler does its part no more, or circulation is low while the reboiler heats on.",
		Consequence: "Diaphragms and seals age fast, the suction margin goes, and hot glycol takes up less water. Everything is hotter to touch than usual.",
		Actions: []Action{
			off("Look at circulation and reboiler temperature on the screen."),
			off("Turn down the reboiler by site procedure."),
			off("Stop the pump at the limit of the maker's manual."),
		},
		Respond: time.Hour,
	},
	"glycol_temperature_low": {
		Title:       "glycol at the pump cold",
		Headline:    "glycol at the pump COLD[: {value}][, limit {limit}][, {duration}]",
		Cause:       "The reboiler or heat tracing is off, or the circuit has been stopped.",
		Consequence: "Thick glycol starves the suction. The pump hammers and delivers less.",
		Actions: []Action{
			off("See that reboiler and heat tracing are on."),
			off("Run slower until it is warm, by site procedure."),
		},
		Respond: 2 * time.Hour,
	},
	"ambient_temperature_low": {
		Title:       "cold weather",
		Headline:    "air COLD[: {value}][, limit {limit}]",
		Cause:       "The weather.",
		Consequence: "Lines without flow, and instruments, can freeze, and the next start will be slow.",
		Actions:     []Action{off("See that heat tracing is on."), off("Keep the standby pump warm by site procedure.")},
		Respond:     8 * time.Hour,
	},
}
