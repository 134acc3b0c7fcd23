package rules

import (
	"errors"
	"fmt"
	"slices"
	"time"

	"pumpside/drivers"
	"pumpside/drivers/quantity"
	"pumpside/rules/alarm"
	"pumpside/rules/counters"
	"pumpside/rules/diagnosis"
	"pumpside/rules/orders"
	"pumpside/rules/pump"
	"pumpside/rules/service"
	"pumpside/rules/trend"
)

// Settings is all that the configuration fixes for one pump. [Settings.Checked]
// makes it ready for [Start] and [Step], which share it and never change it.
type Settings struct {
	Pump     string // the pump's id
	Signals  []SignalSettings
	Counters counters.Settings
	Limits   []alarm.SignalSettings // limits of signals
	Standing alarm.PumpSettings     // changes to the standing alarms
	Off      []string               // names of alarms that are not evaluated
	Escalate time.Duration          // how long a call waits for an acknowledgement; 0 for the default, see [alarm.Definition.Escalated]
	Tasks    []service.Task
	Judging  Judging
	Geometry pump.Geometry // the zero Geometry: nothing is concluded about wear
	Suction  Suction
	Trend    trend.Settings

	slots  [int(drivers.FirstAuxiliary) + drivers.MaxAuxiliary]int8 // place in Signals plus one; 0: not installed
	defs   []alarm.Definition
	judges []judge // of the definition at the same place
	joints []joint
}

// SignalSettings is one signal the pump has.
type SignalSettings struct {
	Signal     drivers.Signal
	Name       string             // of a site-named signal; "" takes the role's
	Dimension  quantity.Dimension // of a site-named signal; a role has its own
	StaleAfter time.Duration      // older than three beats of its poll is stale
	Shared     bool               // other pumps work on it too: not this pump's own
	Point      string             // what it is read from, where other pumps read it from there too; else ""
	// UpdatePeriod is how often the device renews the value, 0 when at every
	// read or not known.
	UpdatePeriod time.Duration
	// Path is what damps the signal, as far as it is known.
	Path orders.Path
}

// Judging are the thresholds of the standing alarms. Zeros take the defaults
// of [Settings.Checked].
type Judging struct {
	NoFlowBelow   quantity.CubicMetersPerSecond // less is no flow; default 0.2 L/min
	RatedSpeed    quantity.RevolutionsPerMinute // of the pump shaft; overspeed begins 2 % above. 0: not judged
	StartsPerHour int                           // more is short cycling; default 6 (common practice, no source)
	TooColdBelow  quantity.Celsius              // default 10 °C: triethylene glycol below about 50 °F is too viscous (common practice, no source)
	WarmAt        quantity.Celsius              // a start is cold until the glycol is so warm, or 20 min have passed; default 30 °C (common practice, no source)

	// Back-flow through a stopped pump: the rise within ten minutes that is
	// not put down to anything else, after 60 s of standing.
	SuctionRise  quantity.Pascals     // default 50 kPa
	LevelRise    quantity.Ratio       // default 5 % of span; negative: the level is not judged
	BackwardFlow quantity.CubicMeters // the totaliser ran back by so much; default 1 L
}

// Checked gives set ready for use, or every reason why it cannot be used.
func (set Settings) Checked() (*Settings, error) {
	var list []error
	checked, err := set.Counters.Checked()
	set.Counters = checked
	list = append(list, err)
	set.Judging.fill()
	set.slots = [len(set.slots)]int8{}
	for i, s := range set.Signals {
		switch {
		case int(s.Signal) >= len(set.slots) || s.Signal == drivers.NoSignal:
			list = append(list, fmt.Errorf("signal %d is not one of a pump", s.Signal))
		case set.slots[s.Signal] != 0:
			list = append(list, fmt.Errorf("signal %s is there twice", set.name(i)))
		default:
			set.slots[s.Signal] = int8(i + 1)
		}
	}
	set.define()
	list = append(list, alarm.ValidateAll(set.defs))
	return &set, errors.Join(list...)
}

func (j *Judging) fill() {
	orElse(&j.NoFlowBelow, 0.2e-3/60)
	orElse(&j.StartsPerHour, 6)
	orElse(&j.TooColdBelow, 10)
	orElse(&j.WarmAt, 30)
	orElse(&j.SuctionRise, 50e3)
	orElse(&j.LevelRise, 0.05)
	orElse(&j.BackwardFlow, 1e-3)
}

func orElse[T comparable](field *T, value T) {
	var zero T
	if *field == zero {
		*field = value
	}
}

// define makes the pump's alarms, each with the judge of its condition: limits
// of signals, bad signals, standing alarms, service tasks.
func (set *Settings) define() {
	set.defs, set.judges = nil, nil
	add := func(d alarm.Definition, j judge) {
		if !slices.Contains(set.Off, d.Name) {
			d = d.With(set.Standing.Changes[d.Name]).Escalated(set.Escalate)
			set.defs, set.judges = append(set.defs, d), append(set.judges, j)
		}
	}
	for _, limits := range set.Limits {
		for _, d := range alarm.SignalAlarms(limits) {
			if set.Standing.InGroup {
				d = alarm.InGroup(d)
			}
			add(d, judgeOf(d.Rule.By))
		}
	}
	for i, s := range set.Signals {
		add(alarm.SignalBad(s.Signal, set.Signals[i].Name).With(alarm.Change{}), judgeValue)
	}
	for _, d := range alarm.PumpAlarms(set.Standing) {
		if row, ok := standing[d.Name]; ok && row.possible(set) {
			add(d, row.judge)
		}
	}
	for i, task := range set.Tasks {
		both := alarm.ServiceAlarms(task.Name)
		add(both[0], judgeDue(i))
		add(both[1], judgeOverdue(i))
		if slices.ContainsFunc(task.Kind.Components(), diagnosis.Suspects) && watches(drivers.DischargePressure, drivers.GlycolFlow)(set) {
			add(alarm.ServiceAsked(task.Name), judgeAsked(i))
		}
	}
	set.findJoints()
}

// Definitions lists the pump's alarms in the order of Snapshot.Alarms.
func (set *Settings) Definitions() []alarm.Definition { return set.defs }

// has reports whether any of the signals is installed.
func (set *Settings) has(list ...drivers.Signal) bool {
	return slices.ContainsFunc(list, func(s drivers.Signal) bool { return set.slots[s] != 0 })
}

// place is where signal s stands in Signals; ok is false when the pump has none.
func (set *Settings) place(s drivers.Signal) (i int, ok bool) {
	if int(s) >= len(set.slots) || set.slots[s] == 0 {
		return 0, false
	}
	return int(set.slots[s]) - 1, true
}

// observes is whether the pump's condition is watched: its geometry is known.
func (set *Settings) observes() bool { return set.Geometry.Cylinders > 0 }

// name gives what people call the i-th signal.
func (set *Settings) name(i int) string {
	if set.Signals[i].Name != "" {
		return set.Signals[i].Name
	}
	return set.Signals[i].Signal.String()
}

func (set *Settings) dimension(i int) quantity.Dimension {
	if s := &set.Signals[i]; s.Signal >= drivers.FirstAuxiliary {
		return s.Dimension
	}
	return set.Signals[i].Signal.Info().Dimension
}

// channels are the signals whose history is kept.
func (set *Settings) channels() []trend.Channel {
	list := make([]trend.Channel, len(set.Signals))
	for i, s := range set.Signals {
		list[i] = trend.Channel{Signal: s.Signal, Name: set.name(i)}
	}
	return list
}
