package alarm

import (
	"maps"
	"slices"
	"time"

	"pumpside/drivers/quantity"
)

// groupAlarms are those of pumps that share one circulation.
var groupAlarms = map[string]Definition{
	"circulation_lost": { // beyond the worse limit no pump delivers at all
		Text: "circulation_short", WorseText: "circulation_lost",
		Class: Alarm, Priority: High, Responder: ControlRoom, Notify: Now, OnDelay: 60 * time.Second, OffDelay: 30 * time.Second,
		WorseOff: 2 * time.Minute, ReAlarm: 4 * time.Hour, Dimension: quantity.Flow,
	},
	"circulation_unseen": {
		Class: Alarm, Priority: Medium, Responder: ControlRoom, Notify: Now, OnDelay: 15 * time.Minute, OffDelay: 30 * time.Second,
	},
	"group_reverse_flow": {
		Class: Alarm, Priority: High, Responder: ControlRoom, Notify: Now, OnDelay: 60 * time.Second, OffDelay: 60 * time.Second,
	},
	"circulation_low": {
		Class: Advisory, Priority: Medium, Responder: ControlRoom, Notify: NextWorkingDay, OnDelay: 30 * time.Minute, OffDelay: 30 * time.Minute,
		Dimension: quantity.Flow,
	},
	"group_power_lost": {
		Class: Alarm, Priority: High, Responder: ControlRoom, Notify: Now, OnDelay: 10 * time.Second, OffDelay: 30 * time.Second,
	},
	"no_spare_left": {
		Class: Advisory, Priority: Medium, Responder: Mechanic, Notify: NextWorkingDay, OnDelay: 60 * time.Second, OffDelay: 5 * time.Minute,
	},
	"too_many_running": {
		Class: Advisory, Priority: Low, Responder: ControlRoom, Notify: NextWorkingDay, OnDelay: 10 * time.Minute, OffDelay: 60 * time.Second,
	},
	"standby_not_exercised": {
		Class: Advisory, Priority: Low, Responder: ControlRoom, Notify: NextWorkingDay, Dimension: quantity.Duration,
	},
	"hours_uneven": {
		Class: Advisory, Priority: Low, Responder: Mechanic, Notify: NextWorkingDay, Dimension: quantity.Share,
	},
}

// siteAlarms are those of buses, devices and the agent itself. They are
// repaired by day; at night they matter only when nobody sees the circulation
// any more, which circulation_unseen says, or pump_unseen of a pump that is
// in no group.
var siteAlarms = map[string]Definition{
	"device_silent":          {Class: Advisory, Priority: Low, Responder: Automation, Notify: NextWorkingDay, SuppressedBy: PowerLost},
	"bus_down":               {Class: Advisory, Priority: Medium, Responder: Automation, Notify: NextWorkingDay, SuppressedBy: PowerLost},
	"signal_bad":             {Class: Advisory, Priority: Low, Responder: Automation, Notify: NextWorkingDay, OnDelay: 60 * time.Second, OffDelay: 60 * time.Second, SuppressedBy: PowerLost, Rule: Rule{By: ByQuality}},
	"clock_not_synchronised": {Class: Advisory, Priority: Low, Responder: Automation, Notify: NextWorkingDay, OnDelay: time.Hour, OffDelay: 60 * time.Second},
	"store_failing":          {Class: Advisory, Priority: High, Responder: Automation, Notify: NextWorkingDay, OffDelay: 60 * time.Second},
	"store_slow":             {Class: Advisory, Priority: Low, Responder: Automation, Notify: NextWorkingDay, OnDelay: 60 * time.Second, OffDelay: 10 * time.Minute, Dimension: quantity.Duration},
	"store_damaged":          {Class: Advisory, Priority: High, Responder: Automation, Notify: NextWorkingDay, Latching: true},
	"disk_full":              {Class: Advisory, Priority: Medium, WorsePriority: High, Responder: Automation, Notify: NextWorkingDay, OnDelay: 60 * time.Second, OffDelay: 10 * time.Minute, Dimension: quantity.Share},
	"outbox_filling":         {Class: Advisory, Priority: Low, Responder: Automation, Notify: NextWorkingDay, OnDelay: 60 * time.Second, OffDelay: 60 * time.Second, Dimension: quantity.Share},
	"outbox_dropping":        {Class: Advisory, Priority: Medium, Responder: Automation, Notify: NextWorkingDay, OffDelay: time.Hour},
	"broker_unreachable":     {Class: Advisory, Priority: Low, Responder: Automation, Notify: NextWorkingDay, OnDelay: 10 * time.Minute, OffDelay: 60 * time.Second},
	"unclean_stop":           {Class: Advisory, Priority: Low, Responder: Automation, Notify: NextWorkingDay, OffDelay: time.Minute},
	"configuration_refused":  {Class: Advisory, Priority: Medium, Responder: Automation, Notify: NextWorkingDay},
	"pump_unseen":            {Class: Alarm, Priority: Medium, Responder: ControlRoom, Notify: Now, OnDelay: 15 * time.Minute, OffDelay: 30 * time.Second},
	"pump_power_lost":        {Class: Alarm, Priority: Medium, Responder: ControlRoom, Notify: Now, OnDelay: 10 * time.Second, OffDelay: 30 * time.Second},
	"site_silent":            {Class: Alarm, Priority: Medium, Responder: ControlRoom, Notify: Now, OnDelay: 30 * time.Minute, OffDelay: 60 * time.Second},
}

// GroupAlarms gives the standing alarms of a group, by name, with a site's
// changes made.
func GroupAlarms(changes map[string]Change) []Definition { return changed(groupAlarms, changes) }

// SiteAlarms gives the alarms of the agent itself, by name, with a site's
// changes made. Those of each device, bus, signal and pump in no group come from [About]
// and [SignalBad]; a silent site is judged by who listens to it.
func SiteAlarms(changes map[string]Change) []Definition {
	own := maps.Clone(siteAlarms)
	for _, other := range []string{"device_silent", "bus_down", "signal_bad", "pump_unseen", "pump_power_lost", "site_silent"} {
		delete(own, other)
	}
	return changed(own, changes)
}

func changed(table map[string]Definition, changes map[string]Change) []Definition {
	var defs []Definition
	for _, name := range sortedNames(table) {
		defs = append(defs, Standing(name).With(changes[name]))
	}
	return defs
}

func sortedNames(table map[string]Definition) []string { return slices.Sorted(maps.Keys(table)) }
