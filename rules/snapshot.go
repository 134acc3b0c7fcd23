package rules

import (
	"time"

	"pumpside/drivers"
	"pumpside/drivers/quantity"
	"pumpside/rules/alarm"
	"pumpside/rules/service"
)

// A Snapshot is what everyone but the pump's own goroutine may see of a pump.
// It shares nothing with the State it was taken from and nobody changes it.
type Snapshot struct {
	Pump    string          `json:"pump"`
	At      drivers.Instant `json:"at"`
	Running alarm.Known     `json:"running"`
	// Observed is whether the time now passing can be told run or standing.
	Observed bool         `json:"observed"`
	Steady   bool         `json:"steady"` // running steadily for 30 s: fast windows may begin
	Totals   Totals       `json:"totals"`
	Signals  []SignalView `json:"signals"` // in the order of the Settings
	Alarms   []AlarmView  `json:"alarms"`  // in the order of the Settings
	Tasks    []TaskView   `json:"tasks"`   // in the order of the Settings
	Seq      uint64       `json:"seq"`     // of the last journal entry
}

// Totals are a pump's counters, all since its first hour as far as known.
type Totals struct {
	RunSeconds        float64 `json:"run_seconds"`
	UnobservedSeconds float64 `json:"unobserved_seconds"`
	Revolutions       float64 `json:"shaft_revolutions"` // = strokes per plunger
	DischargeStrokes  float64 `json:"discharge_strokes"`
	Starts            float64 `json:"starts"`
	PumpedVolume      float64 `json:"pumped_cubic_meters"`
	Energy            float64 `json:"energy_joules"`
}

// A SignalView is the newest reading of one signal.
type SignalView struct {
	Signal    drivers.Signal     `json:"signal"`
	Name      string             `json:"name"` // the role, or the site's own name
	Dimension quantity.Dimension `json:"dimension"`
	Value     float64            `json:"value"` // in the base unit; meaningless when Quality is bad
	Quality   drivers.Quality    `json:"quality"`
	Reason    drivers.Reason     `json:"reason,omitempty"`
	At        drivers.Instant    `json:"at,omitzero"` // of the newest reading, good or not
	GoodAt    drivers.Instant    `json:"good_at,omitzero"`
}

// An AlarmView is where one alarm stands.
type AlarmView struct {
	Name         string          `json:"alarm"`
	Text         string          `json:"text"`
	Class        alarm.Class     `json:"class"`
	Priority     alarm.Priority  `json:"priority"`
	State        alarm.State     `json:"state"`
	RaisedAt     drivers.Instant `json:"raised_at,omitzero"`
	ChangedAt    drivers.Instant `json:"changed_at,omitzero"`
	Occurrence   uint64          `json:"occurrence"`
	SuppressedBy string          `json:"suppressed_by,omitempty"`
	ShelvedBy    string          `json:"shelved_by,omitempty"`
	ShelvedUntil time.Time       `json:"shelved_until,omitzero"`
	RemovedBy    string          `json:"removed_by,omitempty"`
	ReviewAt     time.Time       `json:"review_at,omitzero"`
	Last         *alarm.Event    `json:"last,omitempty"` // its newest transition
}

// A TaskView is the life of one service task.
type TaskView struct {
	Task   string         `json:"task"`
	Status service.Status `json:"status"`
	Life   service.Life   `json:"life"`
	Done   service.Done   `json:"done"`
}
