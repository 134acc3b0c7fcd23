package configs

import (
	"slices"

	"pumpside/drivers"
	"pumpside/rules"
	"pumpside/rules/hydraulics"
	"pumpside/rules/site"
)

// ofGroup are the roles that a point may play for all pumps of a group.
var ofGroup = []drivers.Signal{
	drivers.SuctionPressure, drivers.DischargePressure, drivers.GlycolFlow, drivers.GlycolVolume, drivers.GlycolFlowSwitch, drivers.GlycolTemperature,
	drivers.GlycolLevel, drivers.ControlPower, drivers.AmbientTemperature, drivers.ContactorPressure, drivers.GasFlow, drivers.GasPressure, drivers.GasTemperature, drivers.CirculationDemand,
}

// groupsOf reads the groups, and lets each signal of a group play its role for
// every pump of it that has none of its own.
func (l *loader) groupsOf(pumps []*pumpLoader) {
	names, in := l.newIDs(), map[string]string{}
	defer func() { l.lone = len(pumps) - len(in) }()
	for i := range l.file.Groups {
		f, here := &l.file.Groups[i], at("groups").item(i)
		names.add(here.child("id"), f.ID)
		l.config.Groups = append(l.config.Groups, Group{ID: f.ID, Title: orElse(f.Title, f.ID)})
		members := l.members(here, f, pumps, in)
		if f.Required < 1 || f.Required > max(len(f.Pumps), 1) {
			l.wrong(here.child("required_running"), "%d is not from 1 to the %d pumps of the group", f.Required, len(f.Pumps))
		}
		for _, t := range []struct {
			key string
			x   float64
		}{{"no_flow_below", float64(f.NoFlow)}, {"circulation", float64(f.Target)}, {"gas_water_out", float64(f.WaterOut)}, {"glycol_per_kilogram", float64(f.Ratio)}, {"pause", float64(f.Pause)}, {"exercise_every", float64(f.Exercise)}, {"change_over_every", float64(f.Change)}} {
			if t.x < 0 {
				l.wrong(here.child(t.key), "must not be below zero")
			}
		}
		l.shared(here.child("signals"), f, members)
		l.drying(here, f, members)
		l.groups = append(l.groups, site.Group{
			ID: f.ID, Pumps: f.Pumps, Required: f.Required, NoFlow: f.NoFlow, Target: f.Target, Pause: f.Pause,
			Drying:   site.Drying{WaterOut: f.WaterOut, Ratio: hydraulics.CubicMetersPerKilogram(f.Ratio)},
			Exercise: orElse(f.Exercise, -1), ChangeOver: f.Change,
		})
	}
	l.doubtAlone(pumps)
}

// drying tells of a circulation that could never be worked out.
func (l *loader) drying(here *place, f *groupFile, members []*pumpLoader) {
	if f.WaterOut <= 0 || len(members) == 0 {
		return
	}
	for _, one := range [][]drivers.Signal{{drivers.GasFlow}, {drivers.GasTemperature}, {drivers.GasPressure, drivers.ContactorPressure}} {
		if !slices.ContainsFunc(one, members[0].has) {
			l.wrong(here.child("gas_water_out"), "needs %s among the signals of the group", one[0])
		}
	}
}

// members finds the pumps of a group.
func (l *loader) members(here *place, f *groupFile, pumps []*pumpLoader, in map[string]string) (members []*pumpLoader) {
	for k, id := range f.Pumps {
		here := here.child("pumps").item(k)
		i, known := l.pumpOf[id]
		other, twice := in[id]
		switch {
		case !known:
			l.wrong(here, "there is no pump %q; %s", id, oneOf(id, sortedKeys(l.pumpOf)))
			continue
		case twice && other == f.ID:
			l.wrong(here, "pump %s is listed twice", id)
			continue
		case twice:
			l.wrong(here, "pump %s is in group %s already; a pump is in one group at most", id, other)
			continue
		}
		in[id] = f.ID
		pumps[i].grouped = true
		members = append(members, pumps[i])
	}
	if len(f.Pumps) == 0 {
		l.wrong(here.child("pumps"), "is empty; list the ids of its pumps")
	}
	return members
}

// shared gives the signals of a group to its pumps.
func (l *loader) shared(here *place, f *groupFile, members []*pumpLoader) {
	for _, name := range sortedKeys(f.Signals) {
		s, known := drivers.SignalNamed(name)
		if s == drivers.RunDemand {
			s = drivers.CirculationDemand // of the group as a whole
		}
		here := here.child(name)
		switch {
		case !known || !slices.Contains(ofGroup, s):
			l.wrong(here, "%q is no role that pumps share; %s", name, oneOf(name, groupRoles()))
			continue
		case len(members) == 0:
			continue
		}
		ref, ok := l.pointNamed(here, f.Signals[name])
		if !ok || !members[0].fits(here, s, ref, f.Signals[name]) {
			continue
		}
		for _, p := range members {
			if !p.has(s) {
				p.feed(s, ref, rules.SignalSettings{Signal: s})
			}
		}
	}
}

func groupRoles() (names []string) {
	for _, s := range ofGroup {
		if s != drivers.CirculationDemand {
			names = append(names, s.String())
		}
	}
	return append(names, drivers.RunDemand.String())
}
