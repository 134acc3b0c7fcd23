package alarm

import "time"

// storeTexts speak of the agent and its state file.
var storeTexts = map[string]Text{
	"store_failing": {
		Title:       "state file cannot be written",
		Headline:    "state file CANNOT be written[ {duration}]",
		Cause:       "The disk is full, read-only or failing, or the file's rights were changed.",
		Consequence: "Alarms still go out, but nothing is kept: a restart now loses counted hours and journal since the last good write.",
		Actions: []Action{
			off("Do not restart the agent or switch the gateway off until it writes again."),
			off("See in the log what the write failed with. If the disk is full, make room first: a backup is first copied beside the state file."),
			off("Then take a backup to another disk."),
		},
		Respond: 24 * time.Hour,
	},
	"store_slow": {
		Title:       "state file slow",
		Headline:    "writing the state file takes LONG[: {value}][, limit {limit}]",
		Cause:       "The flash wears out, or another program keeps the disk busy.",
		Consequence: "Messages go out before they are stored. Worn flash fails for good some day.",
		Actions: []Action{
			off("Look for a program that writes much."),
			off("Take a backup, and plan to renew the storage."),
		},
		Respond: 7 * 24 * time.Hour,
	},
	"store_damaged": {
		Title:       "state file was damaged",
		Headline:    "state file was DAMAGED and set aside; counters come from the newest good copy",
		Cause:       "Power was lost while the flash was writing, or the flash is failing.",
		Consequence: "Hours since the last good copy count as unobserved. Part of the journal may be missing here; receivers may have it.",
		Actions: []Action{
			off("Compare the hours with the panel's meter and record the reading."),
			off("Keep the file that was set aside for inspection."),
			off("If it happens again, renew the storage and look at the gateway's supply."),
		},
		NotKnown: "What exactly was lost.",
		Respond:  7 * 24 * time.Hour,
	},
	"disk_full": {
		Title:       "disk nearly full",
		Headline:    "disk {value|nearly} full[, limit {limit}]",
		Cause:       "Logs, history or files of another program fill the gateway's disk.",
		Consequence: "When it is full nothing can be stored.",
		Actions: []Action{
			off("Look for what fills it, and make room."),
		},
		Respond: 24 * time.Hour,
	},
	"unclean_stop": {
		Title:       "agent restarted without a clean stop",
		Headline:    "agent restarted without a clean stop",
		Cause:       "Power was lost, the gateway restarted or the agent was killed.",
		Consequence: "The time it was away counts as unobserved unless a meter closes the gap.",
		Actions: []Action{
			off("If nobody did it on purpose, look at the gateway's supply and its log."),
		},
		NotKnown: "What happened while the agent was away.",
		Respond:  7 * 24 * time.Hour,
	},
	"configuration_refused": {
		Title:       "new configuration refused",
		Headline:    "new configuration REFUSED, the old one still runs",
		Cause:       "The file has problems. \"pumpside check\" lists all of them with their lines.",
		Consequence: "What was meant to change has not changed.",
		Actions:     []Action{off("Run \"pumpside check\", mend the file and load it again.")},
		Respond:     24 * time.Hour,
	},
	FloodText: {
		Title:       "many alarms at once",
		Headline:    "many alarms within the hour[, {count} messages held back]",
		Cause:       "More than six calls an hour would have gone out for this pump. This one speaks for the others; all of them are in the journal.",
		Consequence: "Something shared is often behind it: supply, a bus, the process. The alarms below are listed worst first.",
		Actions: []Action{
			off("Start with the first alarm listed, and open it for what to do."),
			off("Look for what they have in common before going for each."),
		},
		Respond: 30 * time.Minute,
	},
}
