package alarm

import "time"

// What it means that nobody sees the circulation, and who else may.
const unseen = "If circulation stops now, no alarm can say so: wet gas, hydrates and an overheated reboiler would go unnoticed until someone looks."

var witnesses = []Action{
	off("Look at another witness: contactor or reboiler temperatures, the gas dew point, the plant's own control system, a camera."),
	off("If there is no other witness, send someone to look at the pumps, without touching them."),
	off("Tell automation which devices are silent."),
}

// circulationTexts speak of glycol that does not move as it should.
var circulationTexts = map[string]Text{
	"circulation_lost": {
		Title:    "glycol circulation lost",
		Headline: "glycol circulation LOST[ {duration}]",
		Cause:    "No pump of this group delivers glycol. Either no pump runs, or a pump turns and moves nothing.",
		Consequence: "Gas goes out wet and hydrates can form in the line. A fired reboiler without circulation overheats. " +
			"High-pressure gas from the contactor can flow back through a stopped pump.",
		Actions: []Action{
			off("{restore}"),
			off("If no pump delivers: lower, divert or stop the gas, and turn down the reboiler, by site procedure."),
			off("Look at suction pressure and tank level. If they rise with the pumps stopped, gas is flowing back: see the reverse-flow procedure."),
			off("Send a mechanic with the pump's own alarm, which says what was seen there."),
		},
		NotKnown:    "Whether glycol still moves on a path that no meter sees.",
		Respond:     30 * time.Minute,
		Circulation: true,
		Speech:      Speech{"circulation LOST[ {duration}]. {dry}", "No pump of this group delivers glycol."},
	},
	"circulation_short": {
		Title:       "glycol circulation short",
		Headline:    "circulation SHORT[, {pumps_delivering} of {pumps_required} pumps deliver][, {value}][, {duration}]",
		Cause:       "Glycol moves, but fewer pumps deliver it than this group needs: a pump is stopped, or turns and moves nothing.",
		Consequence: "Gas can go out wetter than agreed. High-pressure gas from the contactor can flow back through a stopped pump.",
		Actions: []Action{
			off("{restore}"),
			off("If it stays short: lower the gas to what the flow that is left can dry, by site procedure."),
			off("Look at suction pressure and tank level. If they rise, gas is flowing back: see the reverse-flow procedure."),
			off("Send a mechanic with the pump's own alarm, which says what was seen there."),
		},
		NotKnown:    "Whether the glycol that still moves is enough for the gas.",
		Respond:     30 * time.Minute,
		Circulation: true,
		Speech:      Speech{"circulation SHORT[, {pumps_delivering} of {pumps_required} deliver][, {duration}]. {dry}", "Glycol moves, but fewer pumps deliver it than this group needs."},
	},
	"circulation_unseen": {
		Title:       "nobody sees the circulation",
		Headline:    "circulation NOT SEEN[ {duration}], no news, not necessarily a stop[, also at {subject}]",
		Cause:       "Every signal that shows glycol moving has been bad or silent. The pumps may well be running.",
		Consequence: unseen,
		Actions:     witnesses,
		NotKnown:    "Whether any pump runs and whether any glycol flows.",
		Respond:     30 * time.Minute, Circulation: true,
	},
	"pump_unseen": { // that is in no group
		Title:       "nobody sees a pump",
		Headline:    "{subject} NOT SEEN[ {duration}], no news, not necessarily a stop",
		Cause:       "Every signal that shows it running or glycol moving has been bad or silent. It may well be running.",
		Consequence: unseen,
		Actions:     witnesses,
		NotKnown:    "Whether it runs and whether any glycol flows.",
		Respond:     30 * time.Minute,
	},
	"circulation_low": {
		Title:       "glycol circulation below need",
		Headline:    "circulation LOW[: {value}][, {limit} needed]",
		Cause:       "Less glycol moves than the target[: by its rate, pressure and temperature the gas carries water for {circulation_needed}].",
		Consequence: "The gas can leave above its water dew point target.",
		Actions: []Action{
			off("Compare with the measured dew point, if there is one."),
			off("Raise the pump speed within its rating, or run a second pump, by site procedure."),
		},
		NotKnown: "The glycol strength as it is now, and the water in the gas: it is taken as saturated.",
		Respond:  7 * 24 * time.Hour,
	},
	"no_flow": {
		Title:    "no glycol flow",
		Headline: "no glycol flow[ {duration}]",
		Cause: "The pump turns but delivers no glycol. Most often the suction is starved: low tank, plugged strainer, a suction valve not open, gas in the heads. " +
			"Else an open bypass, a passing relief valve, a broken belt or coupling, or a failed flow meter.",
		Consequence: "Gas goes out wet and hydrates can form. A fired reboiler without circulation overheats. The pump runs dry and wrecks its valves and seals.",
		Actions: []Action{
			off("{take_over}"),
			off("Stop this pump, unless discharge pressure and motor load say that it delivers: it runs dry. Then watch suction pressure and tank level for gas flowing back."),
			off("If circulation stays lost: lower or divert the gas and turn down the reboiler, by site procedure."),
			off("Look at tank level, suction pressure and bypass position on the screen before any new start."),
			on("Check the suction valves, then clean the strainer."),
			on("Inspect belt, shear pin and coupling with the guard off."),
			on("Prime the pump by the maker's manual before it is put back."),
		},
		NotKnown:    "Whether the flow meter is right. Discharge pressure and motor load are the other witnesses.",
		Parts:       []string{"strainer element and gasket", "belt or coupling element"},
		Respond:     30 * time.Minute,
		Circulation: true,
	},
	"failed_to_prime": {
		Title:    "failed to prime",
		Headline: "FAILED TO PRIME[ {duration}]. STOP[, do not run dry]",
		Cause: "Since the start there has been neither flow nor the ripple of a pump that moves liquid. The heads hold gas, or no glycol reaches the suction: " +
			"low tank, plugged strainer, a suction valve not open.",
		Consequence: "A pump that runs dry wrecks its valves, seals and diaphragms within minutes. There is no circulation from this pump.",
		Actions: []Action{
			off("Stop the pump. Do not run dry."),
			off("{take_over}"),
			off("Look at tank level and suction pressure on the screen before any new start."),
			on("Check the suction valves, then clean the strainer."),
			on("Vent and prime the heads and oil cells by the maker's manual."),
		},
		NotKnown:    "Whether the heads hold gas or the suction is shut: both look the same from here.",
		Parts:       []string{"strainer element and gasket"},
		Respond:     5 * time.Minute,
		Circulation: true,
	},
	"reverse_flow": {
		Title:    "flow backwards through the stopped pump",
		Headline: "flow BACKWARDS[ through the stopped pump][ {duration}]",
		Cause: "The pump is stopped, yet suction pressure or tank level rises without another reason, or the meter counts backwards. " +
			"The check valves of the pump and the line check valve do not hold.",
		Consequence: "Contactor gas at full pressure can reach the suction line, the tank and the reboiler, which are not built for it. Gas can be released at the tank vent.",
		Actions: []Action{
			off("Keep people away from the tank vents, the reboiler and the pump. No naked flame."),
			off("Cut this pump off from the contactor with its remote or automatic valves, by site procedure."),
			off("Watch suction pressure and tank level until they hold still."),
			off("Leave the pump stopped until the line check valve has been seen to."),
			on("Where only hand valves can cut it off, work them by site procedure, one person watching the pressures."),
			on("Overhaul the line check valve and the pump's check valves."),
		},
		NotKnown:    "How much gas has come through; and whether the tank was topped up, which looks the same.",
		Parts:       []string{"line check valve or its internals", "check valve kit"},
		Respond:     15 * time.Minute,
		Circulation: true,
	},
	"group_reverse_flow": {
		Title:    "flow backwards through a stopped pump",
		Headline: "flow BACKWARDS through {subject|a stopped pump}[ {duration}]",
		Cause: "Pumps of the group are stopped, yet suction pressure or tank level rises without another reason, or a meter counts backwards. " +
			"The check valves of a pump and its line check valve do not hold. This one message speaks for all pumps of the group.",
		Consequence: "Contactor gas at full pressure can reach the suction line, the tank and the reboiler, which are not built for it. Gas can be released at the tank vent.",
		Actions: []Action{
			off("Keep people away from the tank vents, the reboiler and the pumps. No naked flame."),
			off("Cut the stopped pumps off from the contactor with their remote or automatic valves, by site procedure."),
			off("Watch suction pressure and tank level until they hold still: the pump whose valve stopped the rise is the one."),
			off("Leave that pump stopped until its line check valve has been seen to."),
			on("Where only hand valves can cut a pump off, work them by site procedure, one person watching the pressures."),
			on("Overhaul the line check valve and the pump's check valves."),
		},
		NotKnown:    "How much gas has come through; and through which pump, where suction and tank are shared. A tank that was topped up looks the same.",
		Parts:       []string{"line check valve or its internals", "check valve kit"},
		Respond:     15 * time.Minute,
		Circulation: true,
	},
	"glycol_flow_low": {
		Title:    "glycol flow low",
		Headline: "glycol flow LOW[: {value}][, limit {limit}][, {duration}]",
		Cause: "The pump delivers less than set. Most often the suction is short of glycol (strainer, cold glycol, low tank), " +
			"or a bypass or relief valve passes, or check valves wear, or the speed is low.",
		Consequence: "The gas may leave wetter than agreed. A starved pump wears fast.",
		Actions: []Action{
			off("Look at pump speed, tank level, suction pressure, glycol temperature and bypass position on the screen."),
			off("If suction pressure or tank level is low, or the glycol is cold: do not raise the speed; run slower, or start the standby pump if one is ready, by site procedure."),
			off("Only if all three are normal: raise the speed within the pump's rating."),
			on("Clean the suction strainer."),
			on("Inspect the check valves of every head."),
		},
		NotKnown:    "Whether the meter reads right.",
		Parts:       []string{"strainer element and gasket", "check valve kit"},
		Respond:     2 * time.Hour,
		Circulation: true,
	},
	"glycol_flow_high": {
		Title:       "glycol flow high",
		Headline:    "glycol flow HIGH[: {value}][, limit {limit}][, {duration}]",
		Cause:       "The speed is set high, a second pump runs, the discharge side has lost pressure, or the meter over-reads in pulsation.",
		Consequence: "Too much glycol costs reboiler heat and can carry over with the gas. A broken discharge line shows the same.",
		Actions: []Action{
			off("Look at pump speed, the number of pumps running and discharge pressure on the screen."),
			off("If discharge pressure is low too, think of a leak: stop the pump by site procedure and look at the line from a distance."),
			off("Bring the speed back by site procedure."),
		},
		NotKnown: "Whether the flow is real: a turbine meter can read a few per cent high in pulsation.",
		Respond:  4 * time.Hour,
	},
	"no_spare_left": {
		Title:       "no standby pump left",
		Headline:    "NO standby pump left[: {subject} would not start][, {duration}]",
		Cause:       "A pump has failed, is held back or is not in automatic, so that nothing is behind those that circulate.",
		Consequence: "The next pump to fail stops the circulation.",
		Actions: []Action{
			off("Look at the alarms of the pump that would not start: they say what to bring."),
			off("Plan the repair for the next working day, sooner if gas cannot be cut back."),
		},
		NotKnown: "How long the pumps last that run.",
		Respond:  24 * time.Hour,
	},
	"too_many_running": {
		Title:       "more pumps running than needed",
		Headline:    "more pumps running than needed[ {duration}]",
		Cause:       "A change-over was not finished, a selector was left in hand, or someone raised the circulation on purpose.",
		Consequence: "Both pumps wear at once and no rested standby is left. Signals on the shared header say nothing of the single pump.",
		Actions: []Action{
			off("Find out whether it is on purpose; the shift may know."),
			off("Finish the change-over by site procedure."),
		},
		Respond: 24 * time.Hour,
	},
	"standby_not_exercised": {
		Title:       "standby pump not exercised",
		Headline:    "standby has not run[ for {value}]",
		Cause:       "Nobody has run the standby pump for longer than set.",
		Consequence: "Valves stick, seals dry and oil drains from the cells of a pump that is stopped for long. It may fail to prime when it is needed.",
		Actions: []Action{
			off("With everyone clear of it and suction and discharge open, run the standby pump for half an hour by site procedure, and look for flow and for leaks from outside."),
		},
		NotKnown: "Whether the pump would start.",
		Respond:  7 * 24 * time.Hour,
	},
	"hours_uneven": {
		Title:       "running hours of the pumps uneven",
		Headline:    "running hours uneven[, one pump carries {value}]",
		Cause:       "Duty is not handed over as planned.",
		Consequence: "One pump wears out early, and the other cannot be trusted.",
		Actions:     []Action{off("Change duty over by site procedure.")},
		Respond:     30 * 24 * time.Hour,
	},
}
