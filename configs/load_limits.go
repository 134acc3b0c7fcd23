package configs

import (
	"strconv"

	"pumpside/drivers"
	"pumpside/drivers/quantity"
	"pumpside/drivers/regmap"
	"pumpside/rules/alarm"
)

// limits reads the limits of roles and of site-named signals.
func (p *pumpLoader) limits() {
	for _, name := range sortedKeys(p.file.Limits) {
		f, here := p.file.Limits[name], p.here.child("limits").child(name)
		s, known := drivers.SignalNamed(name)
		switch {
		case !known:
			p.wrong(here, "there is no role %q; %s", name, orHint(name, p.mapped(), "limits of a site-named signal stand beside it under auxiliary"))
		case !p.given(s):
			p.wrong(here, "no point plays this role; map %s under signals, or remove its limits", name)
		case p.has(s):
			if p.users[p.point[s]] > 1 && !p.grouped {
				p.note(here, "%s comes from a point that feeds other pumps too, and %s is in no group: each pump's limits on it call by themselves; list the pumps under groups for one call", name, p.file.ID)
			}
			p.limit(limitLoader{pumpLoader: p, here: here, file: &f, signal: s, dimension: s.Info().Dimension}, name)
		}
	}
	for i := range p.file.Auxiliary {
		f, here := &p.file.Auxiliary[i], p.here.child("auxiliary").item(i)
		p.pump.Titles[f.Name] = orElse(f.Title, f.Name)
		if ref, ok := p.point[drivers.Auxiliary(i)]; ok {
			dimension := p.config.Devices[ref.device].Map.Points[ref.point].Unit.Dimension
			p.limit(limitLoader{pumpLoader: p, here: here.child("limits"), file: &f.Limits, signal: drivers.Auxiliary(i), dimension: dimension}, f.Name)
		}
	}
}

// mapped lists the roles the file maps.
func (p *pumpLoader) mapped() []string { return sortedKeys(p.file.Signals) }

// A limitLoader checks the limits of one signal.
type limitLoader struct {
	*pumpLoader
	here      *place
	file      *limitFile
	signal    drivers.Signal
	dimension quantity.Dimension
	row       *regmap.Point
}

func (p *pumpLoader) limit(l limitLoader, name string) {
	ref := p.point[l.signal]
	l.row = &p.config.Devices[ref.device].Map.Points[ref.point]
	set := alarm.SignalSettings{Signal: l.signal, Span: widthOf(l.row)}
	if _, own := l.signal.AuxiliaryIndex(); own {
		set.Name, set.Dimension = name, l.dimension
	}
	switch kindOf(l.row.Type) {
	case yesNo:
		l.ofSwitch(&set)
	case status:
		l.wrong(l.here, "%s is a state; it has no limits", name)
		return
	default:
		l.ofNumber(&set)
	}
	if delay := l.file.Delay; delay != nil {
		all := alarm.Change{OnDelay: delay, OffDelay: delay}
		set.ForLow, set.ForHigh, set.Rate, set.Deviation = all, all, all, all
		if *delay < 0 {
			l.wrong(l.here.child("delay"), "must not be below zero")
		}
	}
	p.set.Limits = append(p.set.Limits, set)
}

// ofSwitch takes the wrong state, the only limit of a switch.
func (l *limitLoader) ofSwitch(set *alarm.SignalSettings) {
	f := l.file
	for key, text := range map[string]string{
		"low_low": f.LowLow, "low": f.Low, "high": f.High, "high_high": f.HighHigh, "falls": f.Falls, "rises": f.Rises,
	} {
		if text != "" {
			l.wrong(l.here.child(key), "a switch has no %s; say wrong: on or wrong: off", key)
		}
	}
	if f.Wrong != "" {
		state := 0.0
		if f.Wrong == "on" {
			state = 1
		}
		set.State = &state
	}
}

func (l *limitLoader) ofNumber(set *alarm.SignalSettings) {
	if l.file.Wrong != "" {
		l.wrong(l.here.child("wrong"), "is for a switch; give a number limits such as low and high")
	}
	l.levels(set)
	l.rates(set)
	l.deviation(set)
	if d := l.file.Deadband; d != nil {
		part := float64(*d)
		set.Deadband = &part
		if part < 0 || part >= 1 {
			l.wrong(l.here.child("deadband"), "%.4g %% is not from 0 to below 100 %%", 100*part)
		}
	}
}

// levels reads the up to four limits, which must rise.
func (l *limitLoader) levels(set *alarm.SignalSettings) {
	f := l.file
	rising := []struct {
		key, text string
		to        **float64
	}{{"low_low", f.LowLow, &set.LowLow}, {"low", f.Low, &set.Low}, {"high", f.High, &set.High}, {"high_high", f.HighHigh, &set.HighHigh}}
	before := -1
	for i, one := range rising {
		x := l.read(one.key, one.text, quantity.Parse)
		if *one.to = x; x == nil {
			continue
		}
		if before >= 0 && *x <= **rising[before].to {
			l.wrong(l.here.child(one.key), "%s is not above %s, %s", one.text, rising[before].key, rising[before].text)
		}
		before = i
		if alarm.Pointless(l.signal, i >= 2) {
			l.wrong(l.here.child(one.key), "says nothing of %s; remove it", l.signal)
		}
		l.reachable(one.key, one.text, *x)
	}
	for _, pair := range [][2]int{{0, 1}, {3, 2}} {
		if worse, first := rising[pair[0]], rising[pair[1]]; worse.text != "" && first.text == "" {
			l.wrong(l.here.child(worse.key), "is the worse of two limits; give %s too, or name it %s", first.key, first.key)
		}
	}
}

// reachable tells of a limit that no good value can be at.
func (l *limitLoader) reachable(key, text string, x float64) {
	low, high, known := believable(l.row)
	if known && (x < low || x > high) {
		l.wrong(l.here.child(key), "%s is outside what point %s can show (%s to %s), so that the alarm could never be judged", text, l.row.Name, inUnit(l.row, low), inUnit(l.row, high))
	}
}

// read reads a limit; nil when it is not given or not understood.
func (l *limitLoader) read(key, text string, parse func(string, quantity.Dimension) (float64, error)) *float64 {
	if text == "" {
		return nil
	}
	x, err := parse(text, l.dimension)
	if err != nil {
		l.wrong(l.here.child(key), "%v", err)
		return nil
	}
	return &x
}

// difference reads a difference: 5 °C and 9 °F are 5 K of it.
func difference(text string, d quantity.Dimension) (float64, error) {
	x, err := quantity.Parse(text, d)
	if err != nil || d != quantity.Temperature {
		return x, err
	}
	zero, err := quantity.Parse("0 "+symbolOf(text), d)
	return x - zero, err
}

// rates turns the largest change within a time into one per second.
func (l *limitLoader) rates(set *alarm.SignalSettings) {
	within := l.file.Within
	if set.Over = within; within <= 0 {
		l.wrong(l.here.child("within"), "must be above zero")
	}
	for _, one := range []struct {
		key, text string
		to        **float64
	}{{"falls", l.file.Falls, &set.FallsFaster}, {"rises", l.file.Rises, &set.RisesFaster}} {
		x := l.read(one.key, one.text, difference)
		if x == nil {
			continue
		}
		if *x <= 0 {
			l.wrong(l.here.child(one.key), "%s is not above zero; write how much it may change within %s", one.text, span(within))
		}
		*x /= within.Seconds()
		*one.to = x
	}
}

func (l *limitLoader) deviation(set *alarm.SignalSettings) {
	f, here := &l.file.Deviation, l.here.child("deviation")
	if *f == (deviationFile{}) {
		return
	}
	from, known := drivers.SignalNamed(f.From)
	switch {
	case f.From == "":
		l.wrong(here, "has no from; write the role that is taken off")
	case !known || !l.given(from):
		l.wrong(here.child("from"), "no point of this pump plays %q; %s", f.From, oneOf(f.From, l.mapped()))
	case from.Info().Dimension != l.dimension || from == l.signal:
		l.wrong(here.child("from"), "%s cannot be taken off this: it must be another %v", f.From, l.dimension)
	}
	if f.Above == "" && f.Below == "" {
		l.wrong(here, "has no limit; write above, below or both")
	}
	set.Against = from
	inner := limitLoader{pumpLoader: l.pumpLoader, here: here, dimension: l.dimension}
	set.Above, set.Below = inner.read("above", f.Above, difference), inner.read("below", f.Below, difference)
	if set.Above != nil && set.Below != nil && *set.Below >= *set.Above {
		l.wrong(here.child("above"), "%s is not above below, %s", f.Above, f.Below)
	}
}

// inUnit writes x in the unit of the row.
func inUnit(row *regmap.Point, x float64) string {
	if row.Unit.Dimension == quantity.None {
		return short(x)
	}
	return short(row.Unit.FromBase(x)) + " " + row.Unit.Symbol
}

func short(x float64) string { return strconv.FormatFloat(x, 'g', 6, 64) }
