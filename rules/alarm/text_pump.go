package alarm

import "time"

// pumpTexts speak of the pump itself.
var pumpTexts = map[string]Text{
	"diaphragm_leak": {
		Title:    "diaphragm failed",
		Headline: "DIAPHRAGM FAILED[, leak seen {duration} ago]",
		Cause:    "The leak detection says that a diaphragm has ruptured. Oil and glycol mix from now on.",
		Consequence: "Glycol in the oil ruins the whole hydraulic end within hours to days. Oil in the glycol foams the contactor, and gas goes out wet. " +
			"This does not heal, and there is no safe number of hours left.",
		Actions: []Action{
			off("{change_over}"),
			off("Look from outside whether the oil in the sight glass is milky or has risen."),
			on("Renew the failed diaphragm, and those of the same age."),
			on("Drain the oil, flush the oil cells, and fill with new oil of the maker's grade."),
			on("Take a glycol sample and look for oil."),
		},
		NotKnown:    "Which head it is, unless each head has its own detector; and whether a false signal set it off: the oil tells.",
		Parts:       []string{"diaphragm kit for every head", "hydraulic oil for two fillings", "O-rings and gaskets of the heads", "sample bottles"},
		Respond:     4 * time.Hour,
		Act:         "Stop it[ as soon as operations can], {respond} at most.",
		Circulation: true,
	},
	"diaphragm_leak_first_of_two": {
		Title:       "first of two diaphragms failed",
		Headline:    "first of two diaphragms FAILED[, seen {duration} ago]",
		Cause:       "The detection between the two diaphragms of a head says that one has failed. The other still holds.",
		Consequence: "Nothing protects the oil any more when the second goes. The maker's manual says how the pump may be used with one.",
		Actions: []Action{
			off("Read what the maker's manual allows with one diaphragm, and act by it."),
			off("Prefer the standby pump by site procedure."),
			on("Renew both diaphragms of the head and clear the space between them."),
		},
		NotKnown: "Which of the two has failed, unless the detector tells.",
		Parts:    []string{"diaphragm kit", "hydraulic oil", "O-rings and gaskets of the head"},
		Respond:  24 * time.Hour,
	},
	"overspeed": {
		Title:       "pump speed above rating",
		Headline:    "pump speed ABOVE RATING[: {value}][, rated {limit}][, {duration}]",
		Cause:       "The speed set-point, the drive's upper limit or the ratio in the configuration is wrong, or a controller runs to its stop for lack of flow.",
		Consequence: "Efficiency falls, the suction cannot follow and the valves hammer. Hours at this speed cost life out of proportion.",
		Actions: []Action{
			off("Bring the speed back to the rating by site procedure."),
			off("Look for the reason the controller asks for more: flow lost elsewhere, a bypass that passes."),
			off("Have automation check the drive's speed limit and the ratio in the configuration."),
		},
		NotKnown: "The true pump speed, where it is worked out from the motor's and a ratio.",
		Respond:  2 * time.Hour,
	},
	"oil_use_rising": {
		Title:       "more oil topped up than before",
		Headline:    "hydraulic oil goes faster than before, by the top-ups recorded",
		Cause:       "The last top-ups come to half as much again, or more, per run hour as those before. A shaft seal that begins to leak, or a diaphragm, shows in this first.",
		Consequence: "Oil that goes out at the shaft runs the sump low; oil that goes through a diaphragm foams in the contactor.",
		Actions: []Action{
			off("Compare with the oil level, where it is measured, and with foaming at the contactor."),
			off("Put shaft seal and diaphragms on the next visit, and look under the pump for oil."),
			on("Inspect the shaft seal for oil and the oil for milk, and record each top-up in litres."),
		},
		NotKnown: "Where the oil goes, and whether every top-up was recorded.",
		Respond:  7 * 24 * time.Hour,
	},
	"short_cycling": {
		Title:       "starting too often",
		Headline:    "{count|too many} starts in the last hour",
		Cause:       "This is a fault of control, not of the pump: level switches too close together, a batch too small, a start signal that flutters.",
		Consequence: "Each start wears belt, coupling, valves and motor, and empties oil cells that had no time to settle.",
		Actions: []Action{
			off("Widen the span of the level or batch control by site procedure."),
			off("Look in the journal for what starts and stops the pump."),
		},
		NotKnown: "What asked for the starts, where no run demand is wired.",
		Respond:  7 * 24 * time.Hour,
	},
	"too_cold_to_pump": {
		Title:       "glycol too cold to pump",
		Headline:    "TOO COLD to pump[: glycol {value}][, at least {limit} needed]",
		Cause:       "Cold glycol is so thick that the suction cannot feed the pump at this speed.",
		Consequence: "The heads fill only in part, the valves hammer and the diaphragms are strained. It can look like a worn pump.",
		Actions: []Action{
			off("Hold the start, or run at the lowest speed, until the glycol is warm."),
			off("See that heat tracing and the tank heater are on."),
			off("If gas flows, use the warm standby circuit by site procedure."),
		},
		NotKnown:    "The temperature in the suction line itself, if the sensor sits elsewhere.",
		Respond:     time.Hour,
		Circulation: true,
	},
	"npsh_margin_low": {
		Title:       "suction margin low",
		Headline:    "suction margin LOW[: {value}]",
		Cause:       "The pressure at the suction does not cover what the pump needs: low tank, strainer plugging, hot or cold glycol, speed too high.",
		Consequence: "Glycol flashes in the heads. Flow falls, the valves hammer and their seats erode.",
		Actions: []Action{
			off("Run slower if circulation allows, by site procedure: a little slower gains much margin."),
			off("Look at tank level and glycol temperature."),
			on("Clean the suction strainer."),
		},
		NotKnown: "The pressure right at the heads: it is worked out from the line as configured. And the need at this speed: the maker states it at rated speed.",
		Parts:    []string{"strainer element and gasket"},
		Respond:  24 * time.Hour,
	},
	"seal_leak_high": {
		Title:       "shaft seal leaks",
		Headline:    "shaft seal LEAKS[: {value}][, limit {limit}]",
		Cause:       "The shaft oil seal wears.",
		Consequence: "Oil is lost. If the level falls unnoticed, the hydraulic end runs without oil.",
		Actions: []Action{
			off("Look at the oil level in the sight glass from outside, and for oil on the ground."),
			off("Note each top-up in litres with the service record: the trend says how fast it goes."),
			on("Top up the oil to the mark."),
			on("Renew the shaft seal."),
		},
		Parts:   []string{"shaft seal", "hydraulic oil for a top-up"},
		Respond: 24 * time.Hour,
	},
}

// oilTexts speak of the oil of the hydraulic end.
var oilTexts = map[string]Text{
	"oil_level_low": {
		Title:    "oil level low",
		Headline: "oil level LOW[ {duration}]",
		Cause:    "Oil has been lost past the shaft seal, through a failed diaphragm or a fitting, or was not topped up.",
		Consequence: "The oil cells draw air: all heads fall behind, then the diaphragms and the drive parts run dry. " +
			"It can cost the hydraulic end.",
		Actions: []Action{
			off("{change_over}"),
			off("Look from outside at the sight glass, and for oil on the ground. Milky oil means a failed diaphragm."),
			on("Top up with the maker's grade to the mark, and note the litres."),
			on("Find where the oil went: shaft seal, fittings, diaphragms."),
		},
		NotKnown:    "How much is left below the switch.",
		Parts:       []string{"hydraulic oil for a filling", "shaft seal"},
		Respond:     2 * time.Hour,
		Circulation: true,
	},
	"hydraulic_oil_level_low": {
		Title:       "oil level low",
		Headline:    "oil level LOW[: {value}][, limit {limit}]",
		Cause:       "Oil has been lost past the shaft seal, through a failed diaphragm or a fitting, or was not topped up.",
		Consequence: "The oil cells draw air and all heads fall behind. Without oil the hydraulic end is lost.",
		Actions: []Action{
			off("See on the screen whether the level still falls. While it does not, the next step can wait."),
			off("{change_over}"),
			off("Look from outside at the sight glass, and for oil on the ground. Milky oil means a failed diaphragm."),
			on("Top up with the maker's grade to the mark, and note the litres."),
		},
		NotKnown: "Where the oil went.",
		Parts:    []string{"hydraulic oil for a filling", "shaft seal"},
		Respond:  2 * time.Hour,
	},
	"hydraulic_oil_level_high": {
		Title:       "oil level high",
		Headline:    "oil level HIGH[: {value}][, limit {limit}]: think of a failed diaphragm",
		Cause:       "Oil does not grow by itself: glycol may be coming through a failed diaphragm. Else it was overfilled, or is foaming.",
		Consequence: "Glycol in the oil ruins the hydraulic end within hours to days.",
		Actions: []Action{
			off("Look from outside at the sight glass. Milky oil means a failed diaphragm: start the standby pump and stop this one, by site procedure."),
			off("Look in the service record for a top-up today."),
			on("Take an oil sample and let it settle."),
		},
		NotKnown: "Whether it is glycol, until someone has seen the oil.",
		Parts:    []string{"sample bottles", "diaphragm kit", "hydraulic oil for two fillings"},
		Respond:  2 * time.Hour,
	},
	"hydraulic_oil_temperature_high": {
		Title:       "oil temperature high",
		Headline:    "oil HOT[: {value}][, limit {limit}][, {duration}]",
		Cause:       "The pump works harder than usual, an oil cell's relief valve lifts, the oil is old or low, or the air is hot and the cooler dirty.",
		Consequence: "Thin oil leaks past the plungers, so that flow falls, and seals and oil age fast. Makers ask for a stop near 90 to 95 °C.",
		Actions: []Action{
			off("Look at discharge pressure, speed and air temperature on the screen."),
			off("Run slower or change over to the standby pump by site procedure."),
			off("Stop the pump at the limit of the maker's manual."),
			on("Check the oil level and change old oil."),
		},
		NotKnown: "Which oil cell is the hot one.",
		Parts:    []string{"hydraulic oil for a filling"},
		Respond:  2 * time.Hour,
	},
	"hydraulic_oil_temperature_low": {
		Title:       "oil temperature low",
		Headline:    "oil COLD[: {value}][, limit {limit}]",
		Cause:       "The pump has been stopped in the cold, or its heater is off.",
		Consequence: "Cold oil reaches the cells late: the diaphragms are under-driven and the make-up valves strain after a start.",
		Actions: []Action{
			off("See that the oil heater or tracing is on."),
			off("After a start let the pump warm up at low speed by the maker's manual."),
		},
		Respond: 4 * time.Hour,
	},
}
