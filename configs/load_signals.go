package configs

import (
	"slices"
	"strings"
	"time"

	"pumpside/drivers"
	"pumpside/drivers/regmap"
	"pumpside/rules"
)

// signals finds the points that play the pump's roles and its site-named
// signals.
func (p *pumpLoader) signals() {
	here := p.here.child("signals")
	for name := range p.file.Signals {
		if _, known := drivers.SignalNamed(name); !known {
			p.lame = true
			p.wrong(here.child(name), "there is no role %q; %s", name, orHint(name, p.roles, "a signal of the site's own stands under auxiliary"))
		}
	}
	for s := drivers.NoSignal + 1; s < drivers.SignalCount; s++ {
		if text, given := p.file.Signals[s.String()]; given {
			p.role(here.child(s.String()), s, text)
		}
	}
	p.auxiliary()
	if !slices.ContainsFunc(tellRunning, p.given) && !p.lame {
		p.wrong(here, "nothing tells whether the pump runs; map one of drive_status, motor_speed, drive_frequency, contactor_auxiliary")
	}
}

// tellRunning are the roles that tell whether the motor runs.
var tellRunning = []drivers.Signal{drivers.DriveStatus, drivers.ContactorAuxiliary, drivers.MotorSpeed, drivers.DriveFrequency}

// given reports whether the file maps the role, rightly or not.
func (p *pumpLoader) given(s drivers.Signal) bool {
	_, given := p.file.Signals[s.String()]
	return given
}

// has reports whether a point plays the role.
func (p *pumpLoader) has(s drivers.Signal) bool {
	_, ok := p.point[s]
	return ok
}

func (p *pumpLoader) role(here *place, s drivers.Signal, text string) {
	ref, ok := p.pointNamed(here, text)
	if !ok || !p.fits(here, s, ref, text) {
		p.lame = true
		return
	}
	p.feed(s, ref, rules.SignalSettings{Signal: s})
}

// feed notes that a point plays a role. Its value is stale after three beats.
func (p *pumpLoader) feed(s drivers.Signal, ref pointRef, set rules.SignalSettings) {
	set.StaleAfter = 3 * p.beat(ref)
	point := &p.config.Devices[ref.device].Map.Points[ref.point]
	set.UpdatePeriod = point.UpdatePeriod
	set.Path.Lags = [3]float64{point.Path.Damping.Seconds(), point.Path.Snubber.Seconds()}
	p.set.Signals = append(p.set.Signals, set)
	p.pump.Feeds = append(p.pump.Feeds, Feed{Device: ref.device, Point: ref.point, Signal: s})
	p.point[s] = ref
	p.users[ref]++
}

// beat is how often a point is read.
func (l *loader) beat(ref pointRef) time.Duration {
	d := &l.config.Devices[ref.device]
	if d.Map.Points[ref.point].Class == regmap.Slow {
		return d.Slow
	}
	return d.Routine
}

// pointNamed finds device.point; ok is false when there is none, or nothing
// more can be said of it.
func (l *loader) pointNamed(here *place, text string) (ref pointRef, ok bool) {
	if l.isSpoilt(here) || l.isSpoilt(at("devices")) {
		return ref, false
	}
	device, name, dotted := strings.Cut(text, ".")
	i, known := l.deviceOf[device]
	switch {
	case !dotted:
		l.wrong(here, "%q is no point; write device.point, such as %s", text, l.anyPoint())
		return ref, false
	case !known:
		l.wrong(here, "there is no device %q; %s", device, oneOf(device, sortedKeys(l.deviceOf)))
		return ref, false
	}
	j, known := l.devs[i].pointOf[name]
	if !known {
		if points := at("devices").item(i).child("points"); !l.isSpoilt(points) {
			l.wrong(here, "device %s has no point %q; %s", device, name, oneOf(name, sortedKeys(l.devs[i].pointOf)))
		}
		return ref, false
	}
	return pointRef{i, j}, l.devs[i].good[j]
}

// anyPoint is an example from the file itself.
func (l *loader) anyPoint() string {
	for _, d := range l.config.Devices {
		if len(d.Map.Points) > 0 {
			return d.ID + "." + d.Map.Points[0].Name
		}
	}
	return "drive-1.speed"
}

func (p *pumpLoader) auxiliary() {
	if len(p.file.Auxiliary) > drivers.MaxAuxiliary {
		p.wrong(p.here.child("auxiliary"), "has %d signals; %d at most", len(p.file.Auxiliary), drivers.MaxAuxiliary)
		return
	}
	names := p.newIDs()
	for i := range p.file.Auxiliary {
		f, here := &p.file.Auxiliary[i], p.here.child("auxiliary").item(i)
		names.add(here.child("name"), f.Name)
		if slices.Contains(p.roles, f.Name) {
			p.wrong(here.child("name"), "%q is a role; map it under signals, or name it otherwise", f.Name)
		}
		ref, ok := p.pointNamed(here.child("point"), f.Point)
		if !ok {
			continue
		}
		s, row := drivers.Auxiliary(i), &p.config.Devices[ref.device].Map.Points[ref.point]
		p.feed(s, ref, rules.SignalSettings{Signal: s, Name: f.Name, Dimension: row.Unit.Dimension})
	}
}

// hydraulic are the signals in which a pump shows what another one on the same
// header does.
var hydraulic = []drivers.Signal{
	drivers.SuctionPressure, drivers.DischargePressure, drivers.GlycolFlow, drivers.GlycolVolume, drivers.GlycolFlowSwitch,
	drivers.GlycolLevel,
}

// ofOnePump are the signals of which every pump should have its own.
var ofOnePump = []drivers.Signal{
	drivers.DriveStatus, drivers.MotorSpeed, drivers.DriveFrequency, drivers.MotorCurrent, drivers.MotorTorque, drivers.MotorPower,
	drivers.DriveRunHours, drivers.ContactorAuxiliary, drivers.ShaftIndex, drivers.DiaphragmLeak,
}

// sharing marks what other pumps work on too.
func (p *pumpLoader) sharing() {
	for i := range p.set.Signals {
		s := &p.set.Signals[i]
		ref := p.point[s.Signal]
		several := p.users[ref] > 1
		if several {
			s.Point = p.config.Devices[ref.device].ID + "." + p.config.Devices[ref.device].Map.Points[ref.point].Name
		}
		path := p.config.Devices[ref.device].Map.Points[ref.point].Path
		s.Shared = slices.Contains(hydraulic, s.Signal) && (several || len(path.SharedWith) > 0)
		if several && slices.Contains(ofOnePump, s.Signal) {
			p.note(p.here.child("signals").child(s.Signal.String()), "point %s feeds more than one pump; is it really the %v of each?", p.file.Signals[s.Signal.String()], s.Signal)
		}
	}
}
