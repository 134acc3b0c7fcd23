package rules

import (
	"slices"
	"time"

	"pumpside/drivers"
	"pumpside/drivers/quantity"
	"pumpside/rules/alarm"
	"pumpside/rules/counters"
	"pumpside/rules/pump"
	"pumpside/rules/service"
)

// A Snapshot is what everyone but the pump's own goroutine may see of a pump.
// It shares nothing with the State it was taken from but lines of the ledger,
// and nobody changes it.
type Snapshot struct {
	Pump    string          `json:"pump"`
	At      drivers.Instant `json:"at"`
	Running alarm.Known     `json:"running"`
	For     time.Duration   `json:"for"` // it has run or stood for so long
	// Observed is whether the time now passing can be told run or standing.
	Observed bool         `json:"observed"`
	Disputed bool         `json:"disputed"`          // the drive and its second witness disagree
	Steady   bool         `json:"steady"`            // running steadily for 30 s: fast windows may begin
	Ramping  bool         `json:"ramping,omitempty"` // it starts or changes speed: a fast window now measures the line
	Totals   Totals       `json:"totals"`
	Signals  []SignalView `json:"signals"` // in the order of the Settings
	Alarms   []alarm.View `json:"alarms"`  // in the order of the Settings
	Tasks    []TaskView   `json:"tasks"`   // in the order of the Settings
	Seq      uint64       `json:"seq"`     // of the last journal entry

	Repair *RepairView     `json:"repair,omitempty"`  // nil: none yet
	Score  service.Score   `json:"diagnosis_score"`   // what people found where the diagnosis suspected something
	OilUse *service.OilUse `json:"oil_use,omitempty"` // nil: too few top-ups are recorded

	Operation Operation      `json:"operation"`           // on whose account it runs or stands
	Seen      Seen           `json:"seen"`                // how it stood when that was last known
	Joints    []alarm.Joint  `json:"-"`                   // what its group must know of its alarms
	LeakDown  *LeakDownView  `json:"leak_down,omitempty"` // nil before it was measured
	Condition *ConditionView `json:"condition,omitempty"` // nil where it is not watched

	// Ledger is every service record, with hours and dates as they are known
	// now.
	Ledger []drivers.ServiceRecord `json:"-"`

	marks    marks
	Counters counters.State `json:"-"` // for the row that is saved every minute
}

// Totals are a pump's counters, all since its first hour as far as known.
type Totals struct {
	RunSeconds             float64 `json:"run_seconds"`
	UnobservedSeconds      float64 `json:"unobserved_seconds"`       // never falls: what the hour meter explained later is part of it
	StillUnobservedSeconds float64 `json:"still_unobserved_seconds"` // what nobody has explained
	Revolutions            float64 `json:"shaft_revolutions"`        // = strokes per plunger
	DischargeStrokes       float64 `json:"discharge_strokes"`
	ReckonedRevolutions    float64 `json:"reckoned_shaft_revolutions,omitempty"` // part of Revolutions: not counted, but the hour meter's hours at the speed before the gap
	Starts                 float64 `json:"starts"`
	PumpedVolume           float64 `json:"pumped_cubic_meters"`
	Energy                 float64 `json:"energy_joules"`
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

// A TaskView is the life of one service task.
type TaskView struct {
	Task   string         `json:"task"`
	Status service.Status `json:"status"`
	Life   service.Life   `json:"life"`             // of the place used most
	Done   service.Done   `json:"done"`             // likewise
	Window service.Window `json:"window"`           // likewise
	Places []PlaceView    `json:"places,omitempty"` // of a task whose places are counted apart
}

// A PlaceView is the life of one place of a task.
type PlaceView struct {
	Position pump.Position  `json:"position"`
	Status   service.Status `json:"status"`
	Life     service.Life   `json:"life"`
	Done     service.Done   `json:"done"`
	Window   service.Window `json:"window"`
}

// Snapshot copies what others may see out of the state.
func (s *State) Snapshot(set *Settings) *Snapshot {
	running, since := s.running()
	snap := &Snapshot{
		Pump: set.Pump, At: s.moment.At, Seq: s.Seq,
		Running: running, For: since, Observed: running != alarm.Unknown, Disputed: s.status.Disputed,
		Steady: running == alarm.Yes && since >= steadyAfter, Ramping: s.Ramping(),
		Totals: publicTotals(&s.totals), Counters: s.Counters, marks: s.Marks,
		Signals: make([]SignalView, len(set.Signals)), Alarms: make([]alarm.View, len(set.defs)), Tasks: s.taskViews(set),
	}
	snap.Operation, snap.Seen, snap.LeakDown = s.operation, s.seen(), s.Watch.LeakDown.view()
	snap.Joints = s.Joints(set)
	snap.Ledger = slices.Clip(s.Ledger)
	snap.Condition = s.conditionView(set)
	snap.Repair, snap.Score, snap.OilUse = s.repairView(), s.score, s.oilUse
	for i := range set.Signals {
		snap.Signals[i] = s.signalView(set, i)
	}
	for i := range set.defs {
		snap.Alarms[i] = s.Alarms.Alarms[i].View(&set.defs[i], s.moment.At, s.last[i])
	}
	return snap
}

// TotalsOf gives the totals of a pump whose counters are known.
func TotalsOf(set *counters.Settings, s *counters.State) Totals {
	t := s.Totals(set)
	return publicTotals(&t)
}

func publicTotals(t *counters.Totals) Totals {
	return Totals{
		RunSeconds: t.Run.Seconds(), UnobservedSeconds: (t.Unobserved + t.FromMeter).Seconds(), StillUnobservedSeconds: t.Unobserved.Seconds(),
		Revolutions: t.Revolutions, DischargeStrokes: t.DischargeStrokes, ReckonedRevolutions: t.Reckoned, Starts: float64(t.Starts),
		PumpedVolume: float64(t.Pumped), Energy: float64(t.Energy),
	}
}

func (s *State) signalView(set *Settings, i int) SignalView {
	l := &s.latest[i]
	v := SignalView{
		Signal: set.Signals[i].Signal, Name: set.name(i), Dimension: set.dimension(i),
		Value: l.value, Quality: l.quality, Reason: l.reason, At: l.at, GoodAt: l.goodAt,
	}
	switch after := set.Signals[i].StaleAfter; {
	case l.at.Boot != s.moment.At.Boot:
		v.Quality, v.Reason = drivers.Bad, drivers.NeverRead
	case after > 0 && s.moment.At.SinceBoot-l.at.SinceBoot > after:
		v.Quality, v.Reason = drivers.Bad, drivers.Stale
	}
	return v
}
