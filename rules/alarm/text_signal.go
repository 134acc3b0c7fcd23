package alarm

import "time"

// signalTexts serve signals that have no text of their own, and those of the
// site's own naming.
var signalTexts = map[string]Text{
	"signal_low":           siteSignal("signal low", "{signal} LOW[: {value}][, limit {limit}][, {duration}]"),
	"signal_high":          siteSignal("signal high", "{signal} HIGH[: {value}][, limit {limit}][, {duration}]"),
	"signal_falling":       siteSignal("signal falls fast", "{signal} falls FAST[: {value} per minute][, limit {limit}]"),
	"signal_rising":        siteSignal("signal rises fast", "{signal} rises FAST[: {value} per minute][, limit {limit}]"),
	"signal_deviates_low":  siteSignal("signal below its partner", "{signal} is off its partner[ by {value}][, limit {limit}][, {duration}]"),
	"signal_deviates_high": siteSignal("signal above its partner", "{signal} is off its partner[ by {value}][, limit {limit}][, {duration}]"),
	"switch_on":            siteSwitch("switch on", "{signal} is ON[ {duration}]"),
	"switch_off":           siteSwitch("switch off", "{signal} is OFF[ {duration}]"),
	"signal_bad": {
		Title:       "signal bad",
		Headline:    "{signal} is not usable[: {reason}][, {duration}]",
		Cause:       "{explain|The device answers, but this value cannot be used.}",
		Consequence: "Alarms on this signal are frozen: they neither raise nor clear. Whatever is computed from it is missing.",
		Actions: []Action{
			off("Look at the raw value on the bus page, and at the other signals of the same device."),
			off("Compare the configuration of this point with the device's manual."),
			on("Check the transmitter, its supply, its wiring and its impulse line."),
		},
		NotKnown: "The true value.",
		Parts:    []string{"loop calibrator", "spare transmitter"},
		Respond:  7 * 24 * time.Hour,
	},
}

// siteSwitch is siteSignal for what only stands or does not.
func siteSwitch(title, headline string) Text {
	t := siteSignal(title, headline)
	t.Cause, t.NotKnown = "The switch is where the site said that it is wrong.", "Why the site watches this switch."
	return t
}

// siteSignal is what can be said of a signal nobody described further.
func siteSignal(title, headline string) Text {
	return Text{
		Title: title, Headline: headline,
		Cause:       "The value has passed a limit that the site set for it.",
		Consequence: "The site's own procedure says what follows: the signal is known here by its name only.",
		Actions: []Action{
			off("Look at the signal's trend, and at what else changed at that time."),
			off("Act by site procedure for this signal."),
		},
		NotKnown: "Why the site set this limit.",
		Respond:  2 * time.Hour,
	}
}

// explanations say what stands behind a value that cannot be used, by the
// word of the reading's reason.
var explanations = map[string]string{
	"never_read":     "It has not been read since the agent started.",
	"timeout":        "The device did not answer in time.",
	"refused":        "The device refuses this register: the address or the table in the configuration is likely wrong.",
	"disconnected":   "The connection to the device is down.",
	"garbled":        "The answers break the protocol: noise, termination or a second device with the same address.",
	"backing_off":    "The device is left alone for a while after failures.",
	"not_available":  "The device says that it has no value: its sensor is missing or failed.",
	"out_of_range":   "The value lies outside what the instrument can show: wrong scale, wrong register or a failed sensor.",
	"loop_failed":    "The 4-20 mA loop has failed: broken wire, lost supply or a transmitter in fault (NAMUR NE 43).",
	"loop_uncertain": "The 4-20 mA loop lies between valid and failed (NAMUR NE 43): the transmitter is at the end of its range or about to fail.",
	"frozen":         "The value has not moved by one bit for over ten minutes while others moved: a stuck transmitter, a plugged impulse line or a gateway that repeats itself.",
	"stale":          "No new value has come for several beats.",
	"late":           "Values come after newer ones were already used.",
}

var reasonWords = map[string]string{
	"never_read": "never read", "timeout": "no answer", "refused": "refused by the device", "disconnected": "disconnected",
	"garbled": "garbled answers", "backing_off": "device left alone", "not_available": "no value in the device", "out_of_range": "out of range",
	"loop_failed": "4-20 mA loop failed", "loop_uncertain": "4-20 mA loop doubtful", "frozen": "frozen", "stale": "stale", "late": "too late",
}
