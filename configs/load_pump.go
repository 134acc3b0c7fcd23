package configs

import (
	"regexp"

	"pumpside/drivers"
	"pumpside/drivers/quantity"
	"pumpside/rules"
	"pumpside/rules/alarm"
	"pumpside/rules/counters"
)

// A pumpLoader checks one pump.
type pumpLoader struct {
	*loader
	here  *place
	file  *pumpFile
	pump  Pump
	set   rules.Settings
	point map[drivers.Signal]pointRef // what plays each role
	lame  bool                        // a role or what plays it was not understood

	grouped bool // it is in a group
}

func (l *loader) pumps() {
	l.pumpOf, l.users, l.roles = map[string]int{}, map[pointRef]int{}, roleNames()
	names := l.newIDs()
	list := make([]*pumpLoader, len(l.file.Pumps))
	for i := range list {
		f, here := &l.file.Pumps[i], at("pumps").item(i)
		names.add(here.child("id"), f.ID)
		l.pumpOf[f.ID] = i
		list[i] = &pumpLoader{loader: l, here: here, file: f, point: map[drivers.Signal]pointRef{}}
		before := l.told
		list[i].signals()
		list[i].lame = list[i].lame || l.told > before
	}
	if len(list) == 0 {
		l.wrong(at("pumps"), "is empty; list at least one pump")
	}
	l.groupsOf(list)
	l.sharedWith()
	for _, p := range list { // again, for now the other pumps' points are known
		l.config.Pumps = append(l.config.Pumps, p.load())
	}
	l.busLoads()
}

// sharedWith checks the pumps that points name.
func (l *loader) sharedWith() {
	for i := range l.file.Devices {
		for j := range l.file.Devices[i].Points {
			for k, id := range l.file.Devices[i].Points[j].SharedWith {
				if _, ok := l.pumpOf[id]; !ok {
					l.wrong(at("devices").item(i).child("points").item(j).child("shared_with").item(k),
						"there is no pump %q; %s", id, oneOf(id, sortedKeys(l.pumpOf)))
				}
			}
		}
	}
}

func (p *pumpLoader) load() Pump {
	f, before := p.file, p.told
	p.pump.ID, p.pump.Tag, p.pump.Location, p.pump.Hazards = f.ID, orElse(f.Tag, f.ID), f.Location, f.Hazards
	p.pump.Titles, p.pump.Parts = map[string]string{}, map[string]string{}
	p.set.Pump = f.ID
	p.set.Trend.Recent = orElse(p.loader.file.Store.SecondsFor, -1) // 0 s: none
	p.geometry()
	p.driveFaults()
	p.sharing()
	p.counting()
	p.judging()
	p.limits()
	p.services()
	if p.told == before && !p.lame { // else what the rules say follows from that
		p.rules()
	}
	return p.pump
}

// rules gives the settings to the rules, first as they are, to see which
// alarms the pump has, then with the changes to them.
func (p *pumpLoader) rules() {
	plain, err := p.set.Checked()
	if err != nil {
		p.reasons(p.here, err)
		return
	}
	p.pump.Rules = plain
	if len(p.file.Alarms) == 0 {
		return
	}
	change := p.changes(p.here.child("alarms"), p.file.Alarms, plain.Definitions(), "is not an alarm of this pump: the signals it needs are not mapped, or it is one of the site; remove it")
	p.set.Standing.Changes, p.set.Off = change.byName, change.off
	change.toLimits(p.set.Limits)
	changed, err := p.set.Checked()
	p.reasons(p.here, err)
	if err == nil {
		change.mustShow(changed.Definitions())
		p.pump.Rules = changed
	}
}

var ofAlarm = regexp.MustCompile(`^alarm "([^"]+)": `)

// reasons tells each reason of a room why settings cannot be used, at the alarm
// it is about where it names one.
func (l *loader) reasons(here *place, err error) {
	if many, ok := err.(interface{ Unwrap() []error }); ok {
		for _, one := range many.Unwrap() {
			l.reasons(here, one)
		}
		return
	}
	if err == nil {
		return
	}
	if name := ofAlarm.FindStringSubmatch(err.Error()); name != nil {
		here = here.child("alarms").child(name[1])
	}
	l.wrong(here, "%v", err)
}

func (p *pumpLoader) driveFaults() {
	f := &p.file.DriveFaults
	p.pump.DriveFaults = DriveFaults{Standard: f.Standard, Words: map[int]string{}}
	for text, words := range f.Words {
		n, err := wholeNumber(text)
		if err != nil {
			p.wrong(p.here.child("drive_faults").child("words").child(text), "%q is no fault code; write the number the drive gives, such as 14", text)
			continue
		}
		p.pump.DriveFaults.Words[int(n)] = words
	}
}

func (p *pumpLoader) judging() {
	f := &p.file.Judging
	p.set.Judging = rules.Judging{
		NoFlowBelow: f.NoFlowBelow, RatedSpeed: p.file.RatedSpeed, StartsPerHour: f.StartsPerHour,
		TooColdBelow: orElse(f.TooCold, zeroDegrees), WarmAt: orElse(f.WarmAt, zeroDegrees),
		SuctionRise: f.SuctionRise, LevelRise: f.LevelRise, BackwardFlow: f.BackwardFlow,
	}
	p.set.Escalate = p.loader.file.Site.Calls.EscalateAfter
	p.set.Standing = alarm.PumpSettings{NoFlowAfter: f.NoFlowAfter, PrimeWithin: f.PrimeWithin, DoubleDiaphragm: p.file.DoubleDiaphragm, InGroup: p.grouped, OneOfSeveral: !p.grouped && p.loader.lone > 1}
	here := p.here.child("judging")
	for key, x := range map[string]float64{
		"no_flow_below": float64(f.NoFlowBelow), "no_flow_after": float64(f.NoFlowAfter), "prime_within": float64(f.PrimeWithin),
		"starts_per_hour": float64(f.StartsPerHour), "suction_rise": float64(f.SuctionRise), "backward_flow": float64(f.BackwardFlow),
	} {
		if x <= 0 {
			p.wrong(here.child(key), "must be above zero")
		}
	}
	if f.StartsPerHour >= counters.StartsKept {
		p.wrong(here.child("starts_per_hour"), "%d would never alarm: %d starts of an hour are counted at most; write a number below that", f.StartsPerHour, counters.StartsKept)
	}
}

// zeroDegrees is 0 °C where a plain zero would mean the default.
const zeroDegrees quantity.Celsius = 1e-9
