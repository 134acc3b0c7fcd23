package alarm

import (
	"time"

	"pumpside/drivers"
	"pumpside/drivers/quantity"
)

// indicatorRest is what holds back everything that is concluded from flow and
// ripple: it says nothing of a pump that stands, is cold, was just serviced or
// shares the signal.
const indicatorRest = PumpStopped | ColdStart | AfterService | SharedSignal

// pumpAlarms are those of one pump. Delays here are on top of what the
// condition itself says: reverse flow, for one, is judged only after 60 s of
// standing, short cycling on starts in an hour. A finding has lasted 6 h or
// come three times in 7 days before it is one.
var pumpAlarms = map[string]Definition{
	// Running and not delivering.
	"no_flow": {
		Class: Alarm, Priority: High, Responder: ControlRoom, Notify: Now, OnDelay: 60 * time.Second, OffDelay: 15 * time.Second,
		Signal: drivers.GlycolFlow, Dimension: quantity.Flow, Blanking: 120 * time.Second, WhileRunning: true,
	},
	"failed_to_prime": {
		Class: Alarm, Priority: High, Responder: ControlRoom, Notify: Now, OnDelay: 60 * time.Second, WhileRunning: true,
		Signal: drivers.GlycolFlow, Dimension: quantity.Flow,
	},
	"too_cold_to_pump": {
		Class: Alarm, Priority: Medium, Responder: ControlRoom, Notify: Now, OnDelay: 60 * time.Second, OffDelay: 60 * time.Second,
		Signal: drivers.GlycolTemperature, Dimension: quantity.Temperature,
	},
	"npsh_margin_low": {
		Class: Advisory, Priority: Medium, Responder: ControlRoom, Notify: NextWorkingDay, OnDelay: 10 * time.Minute, OffDelay: 10 * time.Minute,
		Dimension: quantity.Length, Blanking: 120 * time.Second, WhileRunning: true,
	},

	// Harm to the pump or to people.
	"reverse_flow": {
		Class: Alarm, Priority: High, Responder: ControlRoom, Notify: Now, OnDelay: 60 * time.Second, OffDelay: 60 * time.Second,
	},
	"diaphragm_leak": {
		Class: Alarm, Priority: High, Responder: Mechanic, Notify: Now, OnDelay: 5 * time.Second, OffDelay: 60 * time.Second,
		Latching: true, ReAlarm: 24 * time.Hour, Signal: drivers.DiaphragmLeak,
	},
	"diaphragm_leak_first_of_two": {
		Class: Advisory, Priority: High, Responder: Mechanic, Notify: NextWorkingDay, OnDelay: 5 * time.Second, OffDelay: 60 * time.Second,
		Latching: true, Signal: drivers.DiaphragmLeak,
	},
	"oil_level_low": {
		Class: Alarm, Priority: Medium, Responder: Mechanic, Notify: Now, OnDelay: 60 * time.Second, OffDelay: 60 * time.Second,
		Signal: drivers.OilLevelSwitch,
	},
	"overspeed": {
		Class: Alarm, Priority: Medium, Responder: ControlRoom, Notify: Now, OnDelay: 10 * time.Second, OffDelay: 10 * time.Second,
		Signal: drivers.MotorSpeed, Dimension: quantity.Speed, WhileRunning: true,
	},

	// Stopped, or not running as it should.
	"drive_fault": {
		Class: Alarm, Priority: Medium, Responder: ControlRoom, Notify: Now, OnDelay: 2 * time.Second, OffDelay: 5 * time.Second,
		Signal: drivers.DriveFaultCode, SuppressedBy: PowerLost,
	},
	"power_lost": {
		Class: Alarm, Priority: Medium, Responder: ControlRoom, Notify: Now, OnDelay: 10 * time.Second, OffDelay: 30 * time.Second,
		Signal: drivers.ControlPower,
	},
	"stopped_unexplained": {
		Class: Alarm, Priority: Medium, Responder: ControlRoom, Notify: Now, OnDelay: 60 * time.Second, OffDelay: 15 * time.Second,
		SuppressedBy: PowerLost,
	},
	"stopped_by_permissive": {
		Class: Alarm, Priority: Medium, Responder: ControlRoom, Notify: Now, OnDelay: 60 * time.Second, OffDelay: 15 * time.Second,
		Signal: drivers.Permissive, SuppressedBy: PowerLost,
	},
	"stopped_longer_than_usual": {
		Class: Alarm, Priority: Medium, Responder: ControlRoom, Notify: Now, OffDelay: 60 * time.Second, Dimension: quantity.Duration,
		SuppressedBy: PowerLost,
	},
	"selector_not_auto": {
		Class: Advisory, Priority: Low, Responder: ControlRoom, Notify: NextWorkingDay, OnDelay: time.Hour, OffDelay: 60 * time.Second,
		Signal: drivers.Selector,
	},
	"short_cycling": {
		Class: Advisory, Priority: Medium, Responder: Automation, Notify: NextWorkingDay, OffDelay: time.Hour,
	},
	"drive_restarts": {
		Class: Advisory, Priority: Medium, Responder: Automation, Notify: NextWorkingDay, OffDelay: time.Hour,
		Signal: drivers.DriveStatus,
	},
	"oil_use_rising": {
		Class: Advisory, Priority: Low, Responder: Mechanic, Notify: NextWorkingDay,
	},
	"running_disputed": {
		Class: Advisory, Priority: Medium, Responder: Automation, Notify: NextWorkingDay, OffDelay: 60 * time.Second,
	},

	// Conclusions.
	"efficiency_low": {
		Class: Advisory, Priority: Low, WorsePriority: Medium, Responder: Mechanic, Notify: NextWorkingDay, OnDelay: 10 * time.Minute, OffDelay: time.Hour,
		Dimension: quantity.Share, SuppressedBy: indicatorRest, Blanking: 20 * time.Minute,
	},
	"efficiency_impossible": {
		Class: Advisory, Priority: Low, Responder: Automation, Notify: NextWorkingDay, OnDelay: 10 * time.Minute, OffDelay: time.Hour,
		Signal: drivers.GlycolFlow, Dimension: quantity.Share, WhileRunning: true,
	},
	"loss_in_one_head": {
		Class: Advisory, Priority: Medium, WorsePriority: High, Responder: Mechanic, Notify: NextWorkingDay, OffDelay: time.Hour,
		Dimension: quantity.Share, SuppressedBy: indicatorRest,
	},
	"head_failing": { // the one finding that does not wait for the day
		Class: Alarm, Priority: Medium, Responder: Mechanic, Notify: Now, OnDelay: 10 * time.Minute, OffDelay: time.Hour,
		Dimension: quantity.Share, SuppressedBy: indicatorRest &^ PumpStopped,
	},
	"leak_down": {
		Class: Advisory, Priority: Low, Responder: Mechanic, Notify: NextWorkingDay, Dimension: quantity.Share,
		SuppressedBy: AfterService,
	},
	"finding": {
		Class: Advisory, Priority: Low, WorsePriority: Medium, Responder: Mechanic, Notify: NextWorkingDay, OffDelay: time.Hour,
		SuppressedBy: indicatorRest,
	},

	// The record of hours.
	"meter_not_run_hours": {
		Class: Advisory, Priority: Low, Responder: Automation, Notify: NextWorkingDay,
		Signal: drivers.DriveRunHours, Dimension: quantity.Duration,
	},
}

// PumpSettings is what changes the standing alarms of one pump.
type PumpSettings struct {
	NoFlowAfter     time.Duration // how long without flow while running; 0 for 60 s
	PrimeWithin     time.Duration // how long a start may take to give flow; 0 for 60 s
	DoubleDiaphragm bool          // two diaphragms with leak detection between them: a leak is an advisory
	InGroup         bool          // the group's lost circulation calls, not the single pump
	OneOfSeveral    bool          // in no group, as others are: the site calls for the power, which all lose at once
	Without         []string      // standing alarms its signals cannot judge
	Changes         map[string]Change
}

// groupCalls are the alarms whose message can wait for the working day when
// the pump is one of a group: what counts at night is the circulation. A pump
// that runs dry is none of them: it is wrecked by the morning, whoever
// circulates.
var groupCalls = []string{"reverse_flow", "drive_fault", "stopped_unexplained", "stopped_by_permissive", "stopped_longer_than_usual", "power_lost"}

// PumpAlarms gives the standing alarms of a pump, by name. It leaves out
// those of settings.Without.
func PumpAlarms(s PumpSettings) []Definition {
	leave := map[string]bool{"diaphragm_leak_first_of_two": true}
	for _, name := range s.Without {
		leave[name] = true
	}
	var defs []Definition
	for _, name := range sortedNames(pumpAlarms) {
		if leave[name] {
			continue
		}
		defs = append(defs, s.fit(Standing(name)))
	}
	return defs
}

func (s PumpSettings) fit(d Definition) Definition {
	switch {
	case d.Name == "no_flow" && s.NoFlowAfter > 0:
		d.OnDelay = s.NoFlowAfter
	case d.Name == "failed_to_prime" && s.PrimeWithin > 0:
		d.OnDelay = s.PrimeWithin
	case d.Name == "diaphragm_leak" && s.DoubleDiaphragm:
		d = Standing("diaphragm_leak_first_of_two")
		d.Name = "diaphragm_leak"
	}
	if s.InGroup {
		d = InGroup(d)
	}
	if s.OneOfSeveral && d.Name == "power_lost" {
		d.Notify = min(d.Notify, NextWorkingDay)
		d = d.timed()
	}
	return d.With(s.Changes[d.Name])
}

// InGroup gives d as it is for a pump of a group: where the group calls at
// night, the single pump waits for the working day, and says so.
func InGroup(d Definition) Definition {
	for _, name := range append([]string{"glycol_flow_low", "discharge_pressure_low"}, groupCalls...) {
		if d.Text == name {
			d.Notify = min(d.Notify, NextWorkingDay)
		}
	}
	return d.timed()
}
