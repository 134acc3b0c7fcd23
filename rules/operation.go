package rules

import (
	"fmt"
	"slices"
	"time"

	"pumpside/drivers"
	"pumpside/drivers/quantity"
	"pumpside/rules/alarm"
)

// A Mode is on whose account a pump runs or stands.
type Mode uint8

// The modes. What stops it first in this order is told: no power, a fault, the
// selector, the demand that is gone, the permissive.
const (
	ModeUnknown     Mode = iota // nobody knows whether it runs
	Running                     // and nothing says that it should not
	RunningInHand               // the selector is in hand
	RunningUnasked              // the demand is off and it runs all the same
	WithoutPower                // control power is gone
	Faulted                     // the drive shows a fault
	SwitchedOff                 // the selector is off
	StandingInHand              // the selector is in hand, and nobody runs it
	NotDemanded                 // the demand is off
	NotPermitted                // the permissive is off
	StandingBy                  // the others of its group are enough
	Resting                     // a pause like those it usually makes
	StandingTooLong             // a pause longer than those it usually makes
	Unexplained                 // it is asked to run, allowed to, and stands
	StoppedNotKnown             // stands, and nothing tells whether it should run
)

var modeWords = []string{
	"unknown", "running", "running_in_hand", "running_unasked", "stopped_without_power", "stopped_by_fault", "stopped_by_selector", "stopped_in_hand",
	"stopped_on_demand", "stopped_by_permissive", "standing_by", "resting", "stopped_longer_than_usual", "stopped_unexplained", "stopped_demand_not_known",
}

// Modes lists every mode there is.
func Modes() []Mode {
	list := make([]Mode, len(modeWords))
	for i := range list {
		list[i] = Mode(i)
	}
	return list
}

// String gives the word for m.
func (m Mode) String() string {
	if int(m) < len(modeWords) {
		return modeWords[m]
	}
	return fmt.Sprintf("mode_%d", m)
}

// MarshalText writes the word for m.
func (m Mode) MarshalText() ([]byte, error) { return []byte(m.String()), nil }

// UnmarshalText reads what MarshalText wrote.
func (m *Mode) UnmarshalText(text []byte) error {
	i := slices.Index(modeWords, string(text))
	if i < 0 {
		return fmt.Errorf("%q is not a mode of a pump", text)
	}
	*m = Mode(i)
	return nil
}

// Where the answer to "should it run?" comes from.
const (
	WantedByDemand  = "run_demand"
	WantedByGroup   = "group"
	WantedByHabit   = "habit"
	WantedUnknown   = "not_known" // demand not known: no signal, no group, no habit tells
	handPosition    = 1           // of the selector
	autoPosition    = 2
	tellsFor        = time.Minute // what was told of the group is news for so long
	restartWithin   = 5 * time.Minute
	restartsLooked  = 24 * time.Hour
	restartsTooMany = 2
)

// An Operation is whether the pump should run, whether it would, and what its
// group must know of it.
type Operation struct {
	Mode       Mode        `json:"mode"`
	Wanted     alarm.Known `json:"wanted"`
	WantedBy   string      `json:"wanted_by"`
	Asked      alarm.Known `json:"asked"`       // what the run demand itself says; unknown without one
	Running    alarm.Known `json:"running"`     //
	Delivering alarm.Known `json:"delivering"`  // glycol moves; by its own meter or, without one, because it runs and nothing disputes it
	Available  alarm.Known `json:"available"`   // runs, or would start when asked
	Power      alarm.Known `json:"power"`       // control power
	Gas        alarm.Known `json:"gas"`         // gas flows
	GasMetered bool        `json:"gas_metered"` // a meter of it is configured, good or bad

	Flow       quantity.CubicMetersPerSecond `json:"flow"` // settled; only with FlowKnown
	FlowKnown  bool                          `json:"flow_known"`
	FlowShared bool                          `json:"flow_shared"` // the meter is not this pump's own

	GroupAsked alarm.Known `json:"circulation_demand"` // what the demand of its group says; unknown without one
	Backwards  alarm.Known `json:"backwards"`          // something flows back through it while it stands

	GasRate        quantity.CubicMetersPerSecond `json:"gas_rate"`        // at standard conditions; these three only with GasKnown
	GasPressure    quantity.Pascals              `json:"gas_pressure"`    // gauge, of the gas or else the contactor
	GasTemperature quantity.Celsius              `json:"gas_temperature"` //
	GasKnown       bool                          `json:"gas_known"`

	Restarts int `json:"drive_restarts"` // of the drive by itself, in the last 24 h
}

// Operation gives how the pump stands at the moment of the newest step. It
// allocates nothing.
func (s *State) Operation(set *Settings) Operation {
	running, _ := s.running()
	o := Operation{
		Running: running, Gas: s.gasFlowing(set), GasMetered: set.has(drivers.GasFlow), Power: s.powered(set), Asked: s.is(set, drivers.RunDemand),
		FlowShared: s.notOwn(set, drivers.GlycolFlow), Restarts: s.Watch.restarts(s.moment.At.SinceBoot),
		GroupAsked: s.is(set, drivers.CirculationDemand),
	}
	if running != alarm.Unknown { // what was seen last is held, and raises nothing
		o.Backwards = s.Watch.Reverse
	}
	o.Wanted, o.WantedBy = s.wanted(set)
	s.gas(set, &o)
	flow, known := s.settled(set, drivers.GlycolFlow)
	o.Flow, o.FlowKnown = quantity.CubicMetersPerSecond(flow), known
	o.Delivering = s.delivering(set, running)
	o.Mode = s.mode(set, &o)
	o.Available = s.available(set, &o)
	return o
}

// wanted answers whether the pump should run, and by what.
func (s *State) wanted(set *Settings) (alarm.Known, string) {
	g := s.told()
	switch {
	case set.has(drivers.RunDemand):
		if asked := s.is(set, drivers.RunDemand); asked != alarm.Unknown {
			return asked, WantedByDemand
		}
		return alarm.Unknown, WantedUnknown
	case s.is(set, drivers.CirculationDemand) == alarm.No, g.Covered():
		return alarm.No, WantedByGroup
	case s.is(set, drivers.CirculationDemand) == alarm.Yes && g.Others == 0:
		return alarm.Yes, WantedByGroup // there is no other it could mean
	}
	switch s.Watch.Habit.Unusual() {
	case alarm.Yes:
		return alarm.Yes, WantedByHabit
	case alarm.No:
		return alarm.No, WantedByHabit
	}
	return alarm.Unknown, WantedUnknown
}

// gas fills in what the gas needs to be dried, as far as all of it is known.
func (s *State) gas(set *Settings, o *Operation) {
	pressure := drivers.GasPressure
	if !set.has(pressure) {
		pressure = drivers.ContactorPressure
	}
	rate, known := s.settled(set, drivers.GasFlow)
	p, seen := s.settled(set, pressure)
	t, felt := s.settled(set, drivers.GasTemperature)
	o.GasKnown = known && seen && felt
	o.GasRate, o.GasPressure, o.GasTemperature = quantity.CubicMetersPerSecond(rate), quantity.Pascals(p), quantity.Celsius(t)
}

// delivering answers by the meter whether glycol moves, also while nobody knows
// whether the pump runs: then flow is a witness, and none tells nothing.
func (s *State) delivering(set *Settings, running alarm.Known) alarm.Known {
	switch {
	case running == alarm.No:
		return alarm.No
	case running == alarm.Unknown && s.flowing(set).Holds == alarm.Yes:
		return alarm.Yes
	case running == alarm.Unknown:
		return alarm.Unknown
	}
	if !set.has(drivers.GlycolFlow, drivers.GlycolFlowSwitch) || s.notOwn(set, drivers.GlycolFlow) {
		return alarm.Yes
	}
	return s.flowing(set).Holds
}

func (s *State) mode(set *Settings, o *Operation) Mode {
	selector, selected := s.newest(set, drivers.Selector)
	hand := selected && selector == handPosition
	switch o.Running {
	case alarm.Unknown:
		return ModeUnknown
	case alarm.Yes:
		switch {
		case hand:
			return RunningInHand
		case o.Asked == alarm.No:
			return RunningUnasked
		}
		return Running
	}
	switch {
	case o.Power == alarm.No:
		return WithoutPower
	case s.faulted(set) == alarm.Yes:
		return Faulted
	case hand:
		return StandingInHand
	case selected && selector != autoPosition:
		return SwitchedOff
	case o.Asked == alarm.No, o.Asked == alarm.Unknown && o.GroupAsked == alarm.No:
		return NotDemanded
	case s.is(set, drivers.Permissive) == alarm.No:
		return NotPermitted
	}
	return s.standing(o)
}

// standing is why a pump stands that nothing holds back.
func (s *State) standing(o *Operation) Mode {
	switch {
	case o.Wanted == alarm.Yes && o.WantedBy == WantedByHabit:
		return StandingTooLong
	case o.Wanted == alarm.Yes:
		return Unexplained
	case o.Wanted == alarm.No && o.WantedBy == WantedByGroup:
		return StandingBy
	case o.Wanted == alarm.No:
		return Resting
	}
	return StoppedNotKnown
}

// available is whether the pump runs or would start when asked.
func (s *State) available(set *Settings, o *Operation) alarm.Known {
	switch o.Mode {
	case Running, RunningInHand, RunningUnasked:
		return alarm.Yes
	case WithoutPower, Faulted, SwitchedOff, StandingInHand, NotPermitted, Unexplained:
		return alarm.No
	case ModeUnknown:
		return alarm.Unknown
	}
	if s.is(set, drivers.Permissive) == alarm.No {
		return alarm.No // not asked now, and not allowed either
	}
	return alarm.Yes
}

// faulted is what the drive says; unknown where there is none.
func (s *State) faulted(set *Settings) alarm.Known {
	state, ok := s.newest(set, drivers.DriveStatus)
	if !ok {
		return alarm.Unknown
	}
	return alarm.KnownBool(drivers.DriveState(state) == drivers.DriveFault)
}

// powered is whether control power is there. Once seen lost it is lost until it
// is seen again: what would tell may have lost its own. A pump that runs on
// without belies the loss.
func (s *State) powered(set *Settings) alarm.Known {
	power := s.is(set, drivers.ControlPower)
	switch {
	case s.Watch.PowerLost:
		return alarm.No
	case power == alarm.No && s.Watch.ranOn():
		return alarm.Unknown
	}
	return power
}

// judgePower holds while control power reads lost; a pump that runs on ends it
// where nothing can be read any more.
func judgePower(set *Settings, s *State, i int) alarm.Condition {
	c := judgeSwitch(drivers.ControlPower, alarm.No)(set, s, i)
	if c.Holds == alarm.Unknown && s.Watch.ranOn() {
		c.Holds = alarm.No
	}
	return c
}

// judgeUnexplained: asked to run, allowed to, no fault, and yet it stands.
func judgeUnexplained(set *Settings, s *State, _ int) alarm.Condition {
	return s.judgeMode(set, Unexplained)
}

// judgePermissive: the permissive keeps a pump from running that is asked to.
func judgePermissive(set *Settings, s *State, _ int) alarm.Condition {
	o := &s.operation
	c := s.judgeMode(set, NotPermitted)
	if c.Holds == alarm.Yes && o.Wanted != alarm.Yes {
		c.Holds = o.Wanted
	}
	return c
}

func judgeTooLong(set *Settings, s *State, _ int) alarm.Condition {
	c := s.judgeMode(set, StandingTooLong)
	c.HasValue, c.Value = true, s.Watch.Habit.Pause.Seconds()
	return c
}

// judgeMode holds in one mode. It is unknown with the mode, and while the
// demand that is wired cannot be read.
func (s *State) judgeMode(set *Settings, m Mode) alarm.Condition {
	o := &s.operation
	if o.Mode == ModeUnknown || o.Running == alarm.No && set.has(drivers.RunDemand) && o.Asked == alarm.Unknown {
		return alarm.Condition{}
	}
	return alarm.Judged(alarm.KnownBool(o.Mode == m))
}

func judgeSelector(set *Settings, s *State, _ int) alarm.Condition {
	position, ok := s.newest(set, drivers.Selector)
	if !ok {
		return alarm.Condition{}
	}
	return alarm.Judged(alarm.KnownBool(position != autoPosition))
}

func judgeRestarts(_ *Settings, s *State, _ int) alarm.Condition {
	n := s.operation.Restarts
	return withValue(alarm.Judged(alarm.KnownBool(n >= restartsTooMany)), float64(n), restartsTooMany)
}
