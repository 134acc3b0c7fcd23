package configs

import (
	"slices"
	"strings"

	"pumpside/drivers"
	"pumpside/rules"
	"pumpside/rules/pump"
)

// A Summary says what the installed signals of a pump let the agent see.
type Summary struct {
	Pump    string
	Mapped  []string // roles and site-named signals, in the order of the rules
	Missing []Gap
}

// A Gap is something that cannot be seen.
type Gap struct {
	Wanted string // the roles of which one would do, or the setting
	Cost   string // what is lost without it
}

// Summaries gives the summary of every pump, in the order of Config.Pumps.
func (c *Config) Summaries() []Summary {
	list := make([]Summary, len(c.Pumps))
	for i := range c.Pumps {
		p := &c.Pumps[i]
		list[i].Pump = p.ID
		for _, s := range p.Rules.Signals {
			list[i].Mapped = append(list[i].Mapped, orElse(s.Name, s.Signal.String()))
		}
		for _, s := range sights {
			if !s.given(p) {
				list[i].Missing = append(list[i].Missing, Gap{Wanted: s.wanted(p), Cost: s.cost})
			}
		}
	}
	return list
}

// A sight is one thing that can be seen with any of some roles or with a
// setting.
type sight struct {
	roles   []drivers.Signal
	own     bool // a role counts only when no other pump works on its point
	setting string
	has     func(*Pump) bool   // beside the roles; nil: they are all that counts
	lacks   func(*Pump) string // what of the setting is missing; nil: all of it
	cost    string
}

var sights = []sight{
	{roles: []drivers.Signal{drivers.DriveStatus}, cost: "a drive that tripped cannot be told from one that was stopped"},
	{roles: []drivers.Signal{drivers.DriveFaultCode}, cost: "the fault of the drive has no name"},
	{
		roles: []drivers.Signal{drivers.MotorSpeed, drivers.DriveFrequency, drivers.ShaftIndex},
		cost:  "revolutions and strokes are reckoned from the rated speed while the motor runs",
	},
	{
		roles: []drivers.Signal{drivers.GlycolFlowSwitch, drivers.ShaftIndex}, own: true, setting: "counting.witness", has: witnessed,
		cost: "running has no second witness: a motor that turns behind a broken coupling is counted as a running pump",
	},
	{roles: []drivers.Signal{drivers.DriveRunHours}, cost: "hours that pass while polling is interrupted stay unobserved"},
	{roles: []drivers.Signal{drivers.GlycolFlow, drivers.GlycolFlowSwitch}, cost: "lost flow and failed priming cannot be seen"},
	{
		roles: []drivers.Signal{drivers.GlycolFlow, drivers.GlycolVolume}, own: true,
		cost: "pumped volume is reckoned from revolutions and counting.volumetric_efficiency, so that wear does not show in it",
	},
	{roles: []drivers.Signal{drivers.DischargePressure}, cost: "pressure limits and the check valves cannot be judged"},
	{roles: []drivers.Signal{drivers.SuctionPressure}, cost: "a starved suction cannot be told from wear, and without a flow meter not be seen at all"},
	{
		roles: []drivers.Signal{drivers.SuctionPressure, drivers.GlycolLevel, drivers.GlycolVolume},
		cost:  "back-flow through the stopped pump cannot be seen",
	},
	{roles: []drivers.Signal{drivers.GlycolTemperature}, cost: "glycol that is too cold to pump cannot be seen"},
	{roles: []drivers.Signal{drivers.DiaphragmLeak}, cost: "a failed diaphragm shows only in the oil and in the glycol"},
	{roles: []drivers.Signal{drivers.OilLevelSwitch, drivers.HydraulicOilLevel}, cost: "low oil of the hydraulic end cannot be seen"},
	{roles: []drivers.Signal{drivers.ControlPower}, cost: "lost power looks like devices that do not answer"},
	{roles: []drivers.Signal{drivers.RunDemand, drivers.CirculationDemand}, cost: "whether the pump should run is not known, so that a stop needs no explanation"},
	{
		has:   func(p *Pump) bool { return p.Geometry.NamesCylinders() },
		lacks: func(p *Pump) string { return p.lackingIndex() },
		cost:  "no finding can name a cylinder",
	},
}

// witnessed reports whether a second witness of running is set and the pump's
// own.
func witnessed(p *Pump) bool {
	c := &p.Rules.Counters
	return c.WitnessPower > 0 && c.Installed.Has(drivers.MotorPower) ||
		c.WitnessFlow > 0 && c.Installed.Has(drivers.GlycolFlow) ||
		c.WitnessRipple > 0 && c.Installed.Has(drivers.DischargePressure)
}

func (s *sight) given(p *Pump) bool {
	if s.has != nil && s.has(p) {
		return true
	}
	return slices.ContainsFunc(p.Rules.Signals, func(has rules.SignalSettings) bool {
		return slices.Contains(s.roles, has.Signal) && !(s.own && has.Shared)
	})
}

// lackingIndex names what is missing before a cylinder can be named.
func (p *Pump) lackingIndex() string {
	var list []string
	for _, part := range []struct {
		name  string
		given bool
	}{
		{indexWanted(&p.Geometry.Index), p.Geometry.Index.Once()},
		{"index_angle", p.Geometry.Index.AngleKnown},
		{"cylinder_1", p.Geometry.Cylinder1 != ""},
	} {
		if !part.given {
			list = append(list, part.name)
		}
	}
	return strings.Join(list, " and ")
}

// indexWanted asks for an index, or for another than there is.
func indexWanted(x *pump.Index) string {
	if x.Present() {
		return "shaft_index of one pulse a turn"
	}
	return "shaft_index"
}

func (s *sight) wanted(p *Pump) string {
	var names []string
	for _, role := range s.roles {
		names = append(names, role.String())
	}
	switch {
	case s.lacks != nil:
		names = append(names, s.lacks(p))
	case s.setting != "":
		names = append(names, s.setting)
	}
	return strings.Join(names, " or ")
}
