package alarm

import "time"

// withoutPower is what is done about a pump whose controls have lost theirs.
var withoutPower = []Action{
	off("Keep people clear of pumps: they may start when power returns."),
	off("Ask the supply side what is known and how long it takes."),
	off("Cut back the gas and turn down the reboiler by site procedure."),
	on("Have an authorised electrician check fuses and the supply of the controls."),
}

// driveTexts speak of the drive and of witnesses that disagree.
var driveTexts = map[string]Text{
	"drive_fault": {
		Title:       "drive fault",
		Headline:    "drive FAULT[: {fault}]",
		Cause:       "The drive has tripped[ with {fault}]. Its manual says what the code means.",
		Consequence: "The pump stays stopped until the cause is found. With no standby the circulation is lost. The drive may start again by itself if auto-restart is set.",
		Actions: []Action{
			off("{take_over}"),
			off("Read the code and the drive's own fault history, and find the cause before anything else."),
			off("Leave the drive tripped until then: what blew once can blow again, and someone may be at the pump."),
			off("Watch suction pressure and tank level for gas flowing back through the stopped pump."),
			on("Have an authorised electrician check motor, cable and drive."),
		},
		NotKnown:    "Whether motor, cable, pump or drive is at fault.",
		Respond:     30 * time.Minute,
		Circulation: true,
	},
	"drive_restarts": {
		Title:       "drive restarts by itself",
		Headline:    "drive restarted by itself[ {count} times]",
		Cause:       "Auto-restart is set and something trips the drive again and again: supply dips, overload, a loose connection.",
		Consequence: "Each trip is an unplanned stop and each restart happens without a person. Sooner or later it stays down.",
		Actions: []Action{
			off("Read the drive's fault history for the code behind the trips."),
			off("Compare the times with supply dips and with the load."),
			off("Warn everyone at the site that this pump starts by itself."),
		},
		NotKnown: "What trips the drive, if it gives no code.",
		Respond:  7 * 24 * time.Hour,
	},
	"running_disputed": {
		Title:       "running is disputed",
		Headline:    "drive and other witness DISAGREE whether it runs[ {duration}]",
		Cause:       "The drive or contactor says one thing; power, ripple or flow says another. Think of a bypass contactor, a broken belt or coupling, a wrong threshold or a bad signal.",
		Consequence: "These hours count as unobserved: service dates become less certain. A pump that is stopped while it should run may go unnoticed.",
		Actions: []Action{
			off("Look at the pump from outside: does the shaft turn?"),
			off("Look at the bypass contactor and the selector on the screen."),
			off("Have automation check the running threshold and the second signal."),
		},
		NotKnown: "Whether the pump runs.",
		Respond:  24 * time.Hour,
	},
	"meter_not_run_hours": {
		Title:       "hour meter counts while stopped",
		Headline:    "drive's hour meter does not count run hours[, off by {value}]",
		Cause:       "The meter ticks while the motor is stopped: it counts hours of power, not of running. Or another motor ran on this drive.",
		Consequence: "Gaps cannot be closed from this meter. Until it is put right such time counts as unobserved.",
		Actions: []Action{
			off("Find the register of run hours in the drive's manual and configure that."),
		},
		Respond: 30 * 24 * time.Hour,
	},
	"drive_heatsink_temperature_high": {
		Title:       "drive hot",
		Headline:    "drive heat sink HOT[: {value}][, limit {limit}][, {duration}]",
		Cause:       "Dirty filters or a failed fan, a hot cabinet, or the motor overloaded.",
		Consequence: "The drive trips and the pump stops.",
		Actions: []Action{
			off("Look at motor load and air temperature on the screen."),
			off("Run slower or change over to the standby pump by site procedure."),
			on("Have an authorised electrician clean the filters and check the fans."),
		},
		Parts:   []string{"cabinet filter mats", "drive fan"},
		Respond: 4 * time.Hour,
	},
}

// stoppedTexts speak of a pump that stands: on whose account.
var stoppedTexts = map[string]Text{
	"stopped_unexplained": {
		Title:       "stopped without a reason",
		Headline:    "STOPPED[ {duration}] although asked to run[, no fault shown]",
		Cause:       "The pump is asked to run and allowed to, and no fault is active, yet it does not turn. Think of a local stop, an open overload, a blown fuse or a broken control wire.",
		Consequence: "With no standby the circulation is lost. Gas can flow back through a stopped pump.",
		Actions: []Action{
			off("{take_over}"),
			off("Ask whether someone is at the pump and stopped it there."),
			off("Watch suction pressure and tank level for gas flowing back."),
			on("Have an authorised electrician check stop buttons, overload and control supply."),
		},
		NotKnown:    "Why it stopped. It may start again by itself at any time.",
		Respond:     30 * time.Minute,
		Circulation: true,
	},
	"stopped_by_permissive": {
		Title:       "stopped by its permissive",
		Headline:    "STOPPED[ {duration}]: permissive is off[ while asked to run]",
		Cause:       "The plant's own interlock does not allow the pump to run. It protects something: find out what.",
		Consequence: "With no standby the circulation is lost. The pump starts by itself when the interlock lets go.",
		Actions: []Action{
			off("Keep everyone clear of the pump: it starts by itself when the interlock lets go."),
			off("Read in the plant's control system which interlock is active. Do not bypass it; have its cause cleared by site procedure."),
			off("{take_over}"),
			off("Watch suction pressure and tank level for gas flowing back."),
		},
		NotKnown:    "Which interlock it is: only their sum is wired.",
		Respond:     30 * time.Minute,
		Circulation: true,
	},
	"selector_not_auto": {
		Title:       "selector not in automatic",
		Headline:    "selector NOT in automatic[ {duration}]",
		Cause:       "Someone put the selector to hand or off and it was left there.",
		Consequence: "The pump will not take over by itself, or will not stop by itself.",
		Actions: []Action{
			off("Ask the last shift whether it is on purpose."),
			off("If not, have it put back by site procedure, with everyone clear of the pump: it may start at once."),
		},
		Respond: 24 * time.Hour,
	},
	"stopped_longer_than_usual": {
		Title:       "stopped longer than usual",
		Headline:    "STOPPED[ {value}], longer than usual[, no fault shown]",
		Cause:       "No signal tells whether the pump should run. Its own starts and stops so far say that it was never stopped so long between two runs.",
		Consequence: "If glycol is wanted and no other pump runs, the circulation is lost. Gas can flow back through a stopped pump.",
		Actions: []Action{
			off("Ask whether it is on purpose: gas cut back, a change-over, work at the pump. If so, leave it."),
			off("{take_over}"),
			off("Watch suction pressure and tank level for gas flowing back."),
			on("Have an authorised electrician check stop buttons, overload and control supply."),
		},
		NotKnown:    "Whether the pump should run: no such signal is wired. It may start again by itself at any time.",
		Respond:     30 * time.Minute,
		Circulation: true,
	},
	"group_power_lost": {
		Title:    "control power of all pumps lost",
		Headline: "POWER LOST at all pumps[ {duration}], circulation LOST[, also at {subject}]",
		Cause:    "The supply of the controls of every pump of the group is gone. This one message speaks for all that follows from it.",
		Consequence: "No pump runs: gas goes out wet, and a fired reboiler without circulation overheats. Gas can flow back through the stopped pumps. " +
			"Everything may start by itself when power returns.",
		Actions: []Action{
			off("Keep people clear of pumps: they may start when power returns."),
			off("Ask the supply side what is known and how long it takes."),
			off("Lower, divert or stop the gas and turn down the reboiler, by site procedure."),
			off("Watch suction pressure and tank level, if they are still seen, for gas flowing back."),
			on("Have an authorised electrician check fuses and the supply of the controls."),
		},
		NotKnown:    "Whether only the controls or the whole site is without power.",
		Respond:     30 * time.Minute,
		Circulation: true,
	},
	"pump_power_lost": { // of pumps in no group, where there are several
		Title:    "control power of a pump lost",
		Headline: "control POWER LOST at {subject}[ {duration}]",
		Cause:    "The supply of the controls is gone. Other alarms that follow from it are held back.",
		Consequence: "What has lost it is stopped. With no standby on another supply the circulation is lost, and gas can flow back. " +
			"Everything may start by itself when power returns.",
		Actions:  withoutPower,
		NotKnown: "Whether only the controls or the whole site is without power.",
		Respond:  30 * time.Minute,
	},
	"power_lost": {
		Title:    "control power lost",
		Headline: "control POWER LOST[ {duration}]",
		Cause:    "The supply of the pump's controls is gone. Other alarms that follow from it are held back.",
		Consequence: "The pump is stopped. With no standby on another supply the circulation is lost, and gas can flow back. " +
			"Everything may start by itself when power returns.",
		Actions:     withoutPower,
		NotKnown:    "Whether only the controls or the whole skid is without power.",
		Respond:     30 * time.Minute,
		Circulation: true,
	},
}
