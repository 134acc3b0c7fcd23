package alarm

import "time"

// recordTexts are facts worth keeping that call nobody: the journal only.
var recordTexts = map[string]Text{
	"pump_started":           {Title: "pump started", Headline: "pump started[ after standing {duration}]"},
	"pump_stopped":           {Title: "pump stopped", Headline: "pump stopped[ after running {duration}]"},
	"drive_restarted":        {Title: "drive restarted", Headline: "drive restarted after a fault[: {fault}]"},
	"standby_took_over":      {Title: "standby took over", Headline: "standby took over"},
	"duty_changed":           {Title: "duty changed", Headline: "duty changed to {subject}"},
	"agent_started":          {Title: "agent started", Headline: "agent started[, version {subject}]"},
	"agent_stopped":          {Title: "agent stopped", Headline: "agent stopped cleanly"},
	"clock_stepped":          {Title: "clock stepped", Headline: "gateway clock stepped[ by {value}]", Cause: "No counter changes with it: hours run on the time since boot."},
	"clock_synchronised":     {Title: "clock synchronised", Headline: "gateway clock synchronised"},
	"configuration_loaded":   {Title: "configuration loaded", Headline: "configuration loaded[: {subject}]"},
	"alarm_vanished":         {Title: "alarm no longer defined", Headline: "alarm {subject} is no longer defined"},
	"task_vanished":          {Title: "service task no longer defined", Headline: "service task {subject} is no longer defined"},
	"state_restored":         {Title: "state restored from a backup", Headline: "state restored from a backup[ {duration} old]"},
	"stream_began":           {Title: "new event stream", Headline: "a new stream of events begins", Cause: "The state file is new, restored or was damaged: sequence numbers start again under a new stream id."},
	"device_back":            {Title: "device answers again", Headline: "{subject} answers again[ after {duration}]"},
	"command_refused":        {Title: "command refused", Headline: "command refused"},
	"block_split":            {Title: "registers read one by one", Headline: "{subject} refuses to give its registers in one block; they are read apart from now on"},
	"baseline_reset":         {Title: "normal state is learned anew", Headline: "normal state is learned anew"},
	"cold_start_began":       {Title: "cold start", Headline: "cold start: flow and efficiency are not judged until the glycol is warm[, now {value}]"},
	"after_service_began":    {Title: "settling after service", Headline: "settling after service: findings wait[ {duration}]"},
	"standby_exercised":      {Title: "standby exercised", Headline: "standby exercised[ for {duration}]"},
	"electrical_work":        {Title: "electrical work recorded", Headline: "electrical work recorded: {subject}"},
	"rotation_confirmed":     {Title: "rotation confirmed", Headline: "direction of rotation confirmed"},
	"cylinder_one_confirmed": {Title: "cylinder 1 confirmed", Headline: "place of cylinder 1 confirmed[: {subject}]"},
}

// countingTexts are entries about hours and strokes.
var countingTexts = map[string]Text{
	"gap_closed":         {Title: "gap closed", Headline: "gap[ of {duration}] closed from the hour meter[: {value} ran]", Cause: "The drive's meter says how long the pump ran unobserved, within the meter's resolution."},
	"gap_open":           {Title: "time unobserved", Headline: "time unobserved[: {duration}]", Cause: "Nobody saw whether the pump ran. It is not counted as running; its bounds are shown with the counters."},
	"gap_unbounded":      {Title: "time unobserved, length not known", Headline: "time unobserved, and how much is not known", Cause: "The gateway restarted without a synchronised clock, so that the time it was off cannot be told."},
	"meter_replaced":     {Title: "hour meter replaced", Headline: "hour meter replaced or put back[, now {value}]", Cause: "The meter reads less than before by more than a rollover explains. Counted hours go on from where they were."},
	"meter_rolled_over":  {Title: "hour meter rolled over", Headline: "hour meter rolled over[, now {value}]"},
	"meter_stopped":      {Title: "hour meter stands still", Headline: "hour meter stands still while the pump runs"},
	"drive_replaced":     {Title: "drive replaced", Headline: "drive or its keypad replaced: meters start anew"},
	"opening_counters":   {Title: "opening counters set", Headline: "opening counters set[: {value}]"},
	"counter_corrected":  {Title: "counter corrected", Headline: "counter corrected: {subject}[, now {value}]"},
	"index_rolled_over":  {Title: "index counter rolled over", Headline: "index counter rolled over"},
	"running_undisputed": {Title: "running undisputed again", Headline: "witnesses of running agree again[ after {duration}]"},
	"hours_unobserved": {
		Title:       "many hours unobserved",
		Headline:    "{value|many hours} unobserved since the last service",
		Cause:       "The device was silent, the agent was off, or the witnesses of running disagreed, and no meter closed the gap.",
		Consequence: "Service dates are uncertain by as much: they may be due sooner than shown.",
		Actions: []Action{
			off("Read the panel's hour meter and record it: that closes the gap."),
			off("Mend what keeps the pump from being seen."),
		},
		NotKnown: "How much of the time the pump ran.",
		Respond:  30 * 24 * time.Hour,
	},
}
