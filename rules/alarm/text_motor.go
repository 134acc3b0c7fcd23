package alarm

import "time"

var loadHigh = Text{
	Cause:       "The pump works against more pressure, the glycol or oil is cold, a bearing or plunger binds, or the supply voltage is low.",
	Consequence: "The motor overheats and its protection trips: the pump stops.",
	Actions: []Action{
		off("Look at discharge pressure, speed and temperatures on the screen."),
		off("Run slower or change over to the standby pump by site procedure."),
		on("Have motor, coupling and bearings inspected."),
	},
	NotKnown: "Whether pump, motor or supply is the cause.",
	Respond:  time.Hour, Circulation: true,
}

var loadLow = Text{
	Cause:       "The pump moves little or nothing: gas in the heads, a starved suction, an open bypass, a broken belt, shear pin or coupling.",
	Consequence: "There may be no circulation although the motor turns. A pump that runs dry is wrecked within minutes.",
	Actions: []Action{
		off("Look at flow and discharge pressure on the screen. If both are gone, stop the pump."),
		off("{take_over}"),
		on("Inspect belt, shear pin and coupling with the guard off."),
		on("Prime the pump by the maker's manual."),
	},
	NotKnown: "Whether the pump shaft turns, unless it has a sensor of its own.",
	Parts:    []string{"belt, shear pin or coupling element"},
	Respond:  30 * time.Minute, Circulation: true,
}

// motorTexts speak of limits on what the motor does.
var motorTexts = map[string]Text{
	"motor_current_high": loadHigh.as("motor current high", "motor current HIGH[: {value}][, limit {limit}][, {duration}]"),
	"motor_torque_high":  loadHigh.as("motor torque high", "motor torque HIGH[: {value}][, limit {limit}][, {duration}]"),
	"motor_power_high":   loadHigh.as("motor power high", "motor power HIGH[: {value}][, limit {limit}][, {duration}]"),
	"motor_current_low":  loadLow.as("motor current low", "motor current LOW[: {value}][, limit {limit}][, {duration}]"),
	"motor_torque_low":   loadLow.as("motor torque low", "motor torque LOW[: {value}][, limit {limit}][, {duration}]"),
	"motor_power_low":    loadLow.as("motor power low", "motor power LOW[: {value}][, limit {limit}][, {duration}]"),
	"motor_speed_high": {
		Title:       "motor speed high",
		Headline:    "motor speed HIGH[: {value}][, limit {limit}][, {duration}]",
		Cause:       "The set-point or the drive's upper limit is too high, or a controller runs to its stop for lack of flow.",
		Consequence: "The suction cannot follow, the valves hammer and wear out of proportion.",
		Actions: []Action{
			off("Bring the speed back by site procedure."),
			off("Look for the reason the controller asks for more."),
		},
		Respond: 2 * time.Hour,
	},
	"motor_speed_low": {
		Title:       "motor speed low",
		Headline:    "motor speed LOW[: {value}][, limit {limit}][, {duration}]",
		Cause:       "The set-point is low, or the drive holds back because of current, torque or voltage.",
		Consequence: "Less glycol circulates than wanted. A motor with a fan on its own shaft gets hot at low speed.",
		Actions: []Action{
			off("Look at the set-point, and at the drive for a limit that is active."),
			off("If circulation is short, take the next step; else it can wait."),
			off("{take_over}"),
		},
		Respond: 2 * time.Hour, Circulation: true,
	},
}

// as gives t with a title and a headline of its own.
func (t Text) as(title, headline string) Text {
	t.Title, t.Headline = title, headline
	return t
}
