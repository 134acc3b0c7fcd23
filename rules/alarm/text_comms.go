package alarm

import "time"

// commsTexts speak of the way from device to agent to people. None of them
// says that a pump has stopped.
var commsTexts = map[string]Text{
	"device_silent": {
		Title:       "device does not answer",
		Headline:    "{subject} does not answer[ {duration}], no news, not necessarily a stop",
		Cause:       "Wiring, supply, address or speed of the line, or the device itself. If others on the same bus answer, it is this device.",
		Consequence: "Its signals are not seen: alarms on them neither raise nor clear, and its hours count as unobserved.",
		Actions: []Action{
			off("See on the bus page whether others on the same bus answer, and by what kind of fault this one fails."),
			off("Compare unit, speed and parity with what the device is set to."),
			on("Check supply and wiring of the device, and that the cabinet is dry."),
		},
		NotKnown: "Everything that this device measures.",
		Respond:  7 * 24 * time.Hour,
	},
	"bus_down": {
		Title:       "bus down",
		Headline:    "bus {subject} is down[ {duration}], no news, not necessarily a stop",
		Cause:       "No device on this bus answers: converter or cable pulled, converter or serial server without supply, a short on the line, or a device that talks without end.",
		Consequence: "None of its signals is seen. Hours count as unobserved until a meter closes the gap.",
		Actions: []Action{
			off("See whether the port or the serial server is there at all: the bus page says it."),
			off("Look at another witness of the circulation."),
			on("Check the converter, its supply and the two ends of the cable."),
		},
		NotKnown: "Everything measured on this bus.",
		Parts:    []string{"serial converter", "120 ohm end resistors"},
		Respond:  7 * 24 * time.Hour,
	},
	"site_silent": {
		Title:       "site silent",
		Headline:    "site SILENT[ {duration}], no news, not necessarily a stop",
		Cause:       "Nothing has come from the gateway: the link, its power, or the gateway itself.",
		Consequence: "No alarm of this site can reach anyone.",
		Actions: []Action{
			off("Ask whether the link or the site's power is known to be down."),
			off("Look at another witness: the plant's own control system, gas metering, a camera."),
			off("If there is none and gas flows, send someone to look, without touching anything."),
		},
		NotKnown: "The state of every pump of the site.",
		Respond:  30 * time.Minute,
	},
	"clock_not_synchronised": {
		Title:       "clock not synchronised",
		Headline:    "gateway clock not synchronised[ {duration}]",
		Cause:       "No time source is reached, or none is set up.",
		Consequence: "Times in messages may be wrong. After a restart nobody can tell how long the gateway was off, so that calendar tasks wait and shelving ends. Counted hours stay right.",
		Actions: []Action{
			off("See that the gateway's time service runs and reaches its source."),
		},
		NotKnown: "How far the clock is off.",
		Respond:  7 * 24 * time.Hour,
	},
	"broker_unreachable": {
		Title:       "message broker not reached",
		Headline:    "message broker not reached[ {duration}]",
		Cause:       "The link, the broker, its address, or the name, password or certificate used.",
		Consequence: "Alarms wait in the outbox and come late. Nothing is lost until it is full.",
		Actions: []Action{
			off("See whether the link is up and the broker runs."),
			off("See in the log whether the broker refuses: then name, password or certificate is wrong."),
		},
		Respond: 24 * time.Hour,
	},
	"outbox_filling": {
		Title:       "outbox filling",
		Headline:    "outbox {value|filling}[ full], messages wait for the broker",
		Cause:       "The broker has not been reached for long, or alarms come faster than the link carries.",
		Consequence: "When it is full the oldest messages of the lowest class are dropped.",
		Actions: []Action{
			off("Bring back the link or the broker."),
			off("Look for the alarms that come most often, and calm them."),
		},
		Respond: 24 * time.Hour,
	},
	"outbox_dropping": {
		Title:       "outbox drops messages",
		Headline:    "outbox is FULL, messages were dropped[: {count} so far]",
		Cause:       "The broker has not been reached for so long that the outbox is full.",
		Consequence: "Messages are gone for the receivers, oldest of the lowest class first. They are still in the journal.",
		Actions: []Action{
			off("Bring back the link or the broker."),
			off("Read the journal for what the receivers missed."),
		},
		NotKnown: "Whether anyone has seen the alarms of that time.",
		Respond:  24 * time.Hour,
	},
}
