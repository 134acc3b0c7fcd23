package alarm

// recordTexts are facts worth keeping that call nobody: the journal only.
var recordTexts = map[string]Text{
	"pump_started":           {Title: "pump started", Headline: "pump started[ after {lasted} stopped]"},
	"pump_stopped":           {Title: "pump stopped", Headline: "pump stopped[ after running {lasted}]"},
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
	"task_ahead":             {Title: "service record ahead of the pump", Headline: "service record of {subject} is ahead of the pump's hours[: {value} recorded][, {limit} counted]", Cause: "Until the pump gets there the task does not fall due by hours or strokes. The opening hours in the configuration may be too few, or the counters are those of an older state: put opening right, or take the record back and record the work again with its run hours."},
	"state_restored":         {Title: "state restored from a backup", Headline: "state restored from a backup[ {duration} old]"},
	"stream_began":           {Title: "new event stream", Headline: "a new stream of events begins", Cause: "The state file is new, restored or was damaged: sequence numbers start again under a new stream id."},
	"device_back":            {Title: "device answers again", Headline: "{subject} answers again[ after {duration}]"},
	"command_refused":        {Title: "command refused", Headline: "command refused"},
	"baseline_reset":         {Title: "normal state is learned anew", Headline: "normal state is learned anew"},
	"cold_start_began":       {Title: "cold start", Headline: "cold start: flow and efficiency are not judged until the glycol is warm[, now {value}]"},
	"after_service_began":    {Title: "settling after service", Headline: "settling after service: findings wait[ {duration}]"},
	"standby_exercised":      {Title: "standby exercised", Headline: "standby exercised[ for {duration}]"},
	"electrical_work":        {Title: "electrical work recorded", Headline: "electrical work recorded: {subject}"},
	"rotation_confirmed":     {Title: "rotation confirmed", Headline: "direction of rotation confirmed"},
	"cylinder_one_confirmed": {Title: "cylinder 1 confirmed", Headline: "place of cylinder 1 confirmed[: {subject}]"},
}

// countingTexts are entries about hours, strokes and their meters.
var countingTexts = map[string]Text{
	"gap_unobserved":        {Title: "time unobserved", Headline: "time unobserved[: {lasted}]", Cause: "Nobody saw whether the pump ran. It is not counted as running; its bounds are shown with the counters."},
	"gap_dated":             {Title: "length of a gap known", Headline: "length of a gap known now that the clock is synchronised[: {lasted}]"},
	"gap_closed":            {Title: "gap closed", Headline: "gap closed from the hour meter[: {credited_run_time} of running added][, {reckoned_strokes} strokes estimated]", Cause: "The drive's meter says how long the pump ran unobserved, within the meter's resolution. Strokes that no index counted in that time are reckoned at the speed before the gap."},
	"meter_rolled_over":     {Title: "meter rolled over", Headline: "{subject} rolled over[, from {meter_before}][ to {meter_after}]", Cause: "The register is full and began again. Counted totals go on from where they were."},
	"meter_replaced":        {Title: "meter replaced", Headline: "{subject} replaced or put back[, from {meter_before}][ to {meter_after}]", Cause: "It reads less than before by more than a rollover explains: the drive, its keypad or the meter was changed. Counted totals go on from where they were."},
	"meter_ambiguous":       {Title: "meter cannot close a gap", Headline: "{subject} may have rolled over more than once", Cause: "The gap was so long that the meter cannot tell how much passed. Only where the drive's hour meter proves running in it are strokes reckoned, at the speed before the gap."},
	"meter_counts_power_on": {Title: "hour meter counts while stopped", Headline: "hour meter ticked while the pump was stopped: it counts hours of power, not of running", Cause: "Gaps cannot be closed from it."},
	"meter_counts_run":      {Title: "hour meter counts running", Headline: "hour meter stood still while the pump was stopped: it counts running", Cause: "Gaps can be closed from it."},
	"index_disagrees":       {Title: "shaft index and motor speed disagree", Headline: "shaft index and motor speed disagree on the turns", Cause: "Belt slip, a failed coupling, a wrong ratio in the configuration, or pulses lost. Gears do not slip."},
	"index_agrees":          {Title: "shaft index and motor speed agree again", Headline: "shaft index and motor speed agree again on the turns"},
	"running_resolved":      {Title: "running undisputed again", Headline: "witnesses of running agree again[ after {lasted}]"},
	"opening_counters":      {Title: "opening counters changed", Headline: "opening counters changed[ to {value}]", Cause: "The configuration says another opening than before. Totals move with it, and so do the hours and strokes of service records counted here."},
	"counter_corrected":     {Title: "counter corrected", Headline: "counter corrected: {subject}[, now {value}]"},
}
