package engine_test

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"pumpside/agent/engine"
	"pumpside/drivers"
	"pumpside/rules"
	"pumpside/rules/alarm"
	"pumpside/rules/counters"
	"pumpside/rules/site"
)

// A plant is an invented site of two pumps, duty and standby, with synthetic
// readings: pure rules, no clock, so that a year passes in seconds.
type plant struct {
	t       *testing.T
	rand    *rand.Rand
	at      drivers.Instant
	began   time.Time
	sets    [2]*rules.Settings
	states  [2]*rules.State
	pumps   [2]machine
	siteSet *site.Settings
	site    *site.State
	events  []told

	// What people and the process do.
	duty   int  // the pump that is asked to run
	demand bool // glycol is asked for
	gas    bool
	power  bool
	mute   [2]bool        // the pump's devices do not answer
	both   bool           // during a change-over both are asked
	store  site.Store     // how the state file does
	away   bool           // the broker is
	fail   func(p *plant) // what goes wrong, at every step
	asleep bool           // nobody acknowledges; else whoever is called does, soon
	acts   func(p *plant) // and does this; nil: nothing
	due    []answer
	rest   int  // hours without gas that are left
	calm   bool // nothing happens to it
	deaf   bool // no pump is told of its group
	bare   bool // nothing tells whether glycol is wanted
}

// A machine is one pump as its signals show it.
type machine struct {
	runs, trips, starved, leaks, oilLow, permitted bool
	blocked, empty, hot, fast, frosty              bool          // discharge, tank, oil, speed, glycol
	since                                          time.Duration // runs or stands for so long
	glycol, oil                                    float64       // °C
	suction                                        float64       // added to the suction pressure, Pa
	auto                                           float64
}

// An answer is an acknowledgement on its way.
type answer struct {
	at   time.Duration // since boot
	pump string
	what string
	verb drivers.Verb
}

// answersAfter is how long somebody who is called takes to acknowledge, at
// most; a quarter of a short time to respond.
const answersAfter = 5 * time.Minute

// hear lets people hear of an event.
func (p *plant) hear(pump string, e *alarm.Event) {
	p.events = append(p.events, told{pump, e})
	if e.Notify == alarm.Now && !p.asleep {
		p.due = append(p.due, answer{p.at.SinceBoot + min(answersAfter, e.TimeToRespond/4), pump, e.Alarm, drivers.Acknowledge})
	}
}

// answers gives the acknowledgements that come now for a pump, "" for the site.
func (p *plant) answers(pump string) (list []drivers.Command) {
	for i, a := range p.due {
		if a.what != "" && a.pump == pump && a.at <= p.at.SinceBoot {
			list = append(list, drivers.Command{User: "a.operator", Verb: a.verb, Alarm: a.what})
			p.due[i].what = ""
			if p.acts != nil && a.verb == drivers.Acknowledge {
				p.acts(p)
			}
		}
	}
	return list
}

type told struct {
	pump string
	*alarm.Event
}

var plantSignals = []drivers.Signal{
	drivers.DriveStatus, drivers.MotorSpeed, drivers.MotorPower, drivers.SuctionPressure, drivers.DischargePressure, drivers.GlycolFlow, drivers.GlycolTemperature,
	drivers.GlycolLevel, drivers.GasFlow, drivers.RunDemand, drivers.Permissive, drivers.Selector, drivers.ControlPower, drivers.HydraulicOilTemperature,
	drivers.OilLevelSwitch, drivers.DiaphragmLeak,
}

func newPlant(t *testing.T, seed uint64) *plant {
	t.Helper()
	p := &plant{
		t: t, rand: rand.New(rand.NewPCG(seed, 1)), began: time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC), demand: true, gas: true, power: true,
	}
	p.at = drivers.Instant{Wall: p.began, Boot: "a", SinceBoot: time.Hour, Synchronized: true}
	for i, id := range [2]string{"gp-1", "gp-2"} {
		p.sets[i] = plantPump(t, id)
		p.states[i], _ = rules.Start(p.sets[i], nil)
		p.pumps[i] = machine{permitted: true, auto: 2, oil: 20}
	}
	set, err := site.Settings{Broker: true, Groups: []site.Group{{ID: "north", Pumps: []string{"gp-1", "gp-2"}, Pause: 2 * time.Hour, ChangeOver: 7 * 24 * time.Hour}}}.Checked()
	if err != nil {
		t.Fatal(err)
	}
	p.siteSet = set
	p.site, _ = site.Start(set, nil)
	return p
}

func plantPump(t *testing.T, id string) *rules.Settings {
	t.Helper()
	x := func(v float64) *float64 { return &v }
	set := rules.Settings{
		Pump:     id,
		Counters: counters.Settings{Installed: counters.SignalsOf(plantSignals...), Ratio: 5, RatedSpeed: 1450, WitnessPower: 300, MaxGap: time.Minute},
		Judging:  rules.Judging{RatedSpeed: 330},
	}
	for _, s := range plantSignals {
		one := rules.SignalSettings{Signal: s, StaleAfter: 3 * time.Minute}
		if s == drivers.GlycolLevel || s == drivers.SuctionPressure { // one tank, one header
			one.Shared, one.Point = true, "skid."+s.String()
		}
		set.Signals = append(set.Signals, one)
	}
	set.Limits = []alarm.SignalSettings{
		{Signal: drivers.DischargePressure, Low: x(4e6), High: x(8.5e6), HighHigh: x(9e6), Span: 16e6},
		{Signal: drivers.GlycolFlow, Low: x(14e-3 / 60), Span: 40e-3 / 60},
		{Signal: drivers.HydraulicOilTemperature, High: x(80), HighHigh: x(90), Span: 150},
		{Signal: drivers.GlycolLevel, Low: x(0.3), LowLow: x(0.15), Span: 1},
	}
	set.Standing.InGroup = true
	checked, err := set.Checked()
	if err != nil {
		t.Fatal(err)
	}
	return checked
}

// pass lets time go by in steps of every.
func (p *plant) pass(d, every time.Duration) {
	for range int(d / every) {
		p.at.SinceBoot += every
		p.at.Wall = p.at.Wall.Add(every)
		p.step(every)
	}
}

func (p *plant) step(every time.Duration) {
	if p.fail != nil {
		p.fail(p)
	}
	for i := range p.pumps {
		p.move(i, every)
		b := drivers.Batch{At: p.at, Commands: p.answers(p.sets[i].Pump)}
		if !p.deaf {
			b.Group = p.site.Seen(p.siteSet, p.sets[i].Pump)
		}
		for _, s := range plantSignals {
			r := drivers.Reading{Signal: s, Value: p.shows(i, s), Quality: drivers.Good}
			if p.mute[i] || p.bare && (s == drivers.RunDemand || s == drivers.GasFlow) {
				r.Quality, r.Reason = drivers.Bad, drivers.Timeout
			}
			b.Readings = append(b.Readings, r)
		}
		for _, c := range rules.Step(p.sets[i], p.states[i], &b) {
			if c.Event != nil && c.Event.Kind != alarm.Recorded {
				p.hear(p.sets[i].Pump, c.Event)
			}
		}
	}
	parts := make([]site.Pump, len(p.pumps))
	for i, s := range p.states {
		o := s.Operation(p.sets[i])
		parts[i] = engine.PartOf(&o, 0, s.Joints(p.sets[i]))
	}
	for _, e := range site.Step(p.siteSet, p.site, &site.Batch{At: p.at, Groups: [][]site.Pump{parts}, Store: p.store, Outbox: site.Outbox{Connected: !p.away}, Commands: p.answers("")}) {
		p.hear("", e)
	}
}

// restart stops the agent for a while, and starts it with what it saved.
func (p *plant) restart(away time.Duration) {
	p.t.Helper()
	for i, s := range p.states {
		body, err := s.Marshal()
		if err != nil {
			p.t.Fatal(err)
		}
		saved, err := rules.Unmarshal(body)
		if err != nil {
			p.t.Fatal(err)
		}
		p.states[i], _ = rules.Start(p.sets[i], saved)
	}
	body, err := p.site.Marshal()
	if err != nil {
		p.t.Fatal(err)
	}
	saved, err := site.Unmarshal(body)
	if err != nil {
		p.t.Fatal(err)
	}
	p.site, _ = site.Start(p.siteSet, saved)
	p.at.SinceBoot, p.at.Wall = p.at.SinceBoot+away, p.at.Wall.Add(away)
}

// move lets a machine follow what is asked of it.
func (p *plant) move(i int, every time.Duration) {
	m := &p.pumps[i]
	runs := p.power && p.demand && (p.both || p.duty == i) && m.permitted && !m.trips && m.auto == 2
	if runs != m.runs {
		m.runs, m.since = runs, 0
	}
	m.since += every
	ambient := 10 - 18*math.Cos(2*math.Pi*p.at.Wall.Sub(p.began).Hours()/8766)
	towards := func(x *float64, to float64, in time.Duration) {
		*x += (to - *x) * (1 - math.Exp(-every.Seconds()/in.Seconds()))
	}
	if runs {
		towards(&m.glycol, 85, time.Minute)
		towards(&m.oil, 58+0.3*ambient, 40*time.Minute)
	} else {
		towards(&m.glycol, ambient+15, 90*time.Minute) // traced and insulated
		towards(&m.oil, ambient+15, 2*time.Hour)
	}
}

// shows is what a signal reads, with the scatter of a real one.
func (p *plant) shows(i int, s drivers.Signal) float64 {
	m := &p.pumps[i]
	on := func(yes bool, a, b float64) float64 {
		if yes {
			return a
		}
		return b
	}
	noise := func(size float64) float64 { return size * p.rand.NormFloat64() }
	switch s {
	case drivers.DriveStatus:
		return on(m.trips, float64(drivers.DriveFault), on(m.runs, float64(drivers.DriveRunning), float64(drivers.DriveStopped)))
	case drivers.MotorSpeed:
		return on(m.runs, on(m.fast, 1750, 1450)+noise(2), 0)
	case drivers.MotorPower:
		return on(m.runs, 3000+noise(60), 0)
	case drivers.SuctionPressure:
		return 30e3 + noise(2e3) + m.suction
	case drivers.DischargePressure:
		return on(m.runs, on(m.blocked, 9.8e6, 7e6)*(1+noise(0.05)), 6.8e6)
	case drivers.GlycolFlow:
		return on(m.runs && !m.starved && m.since > 10*time.Second, 20e-3/60*(1+noise(0.04)), 0)
	case drivers.GlycolTemperature:
		return on(m.frosty, 4, m.glycol) + noise(0.3)
	case drivers.GlycolLevel:
		return on(m.empty, -0.3, 0) + 0.5 + 0.08*math.Sin(p.at.SinceBoot.Hours()*2) + noise(0.005)
	case drivers.GasFlow:
		return on(p.gas, 5, 0)
	case drivers.RunDemand:
		return on(p.demand && (p.both || p.duty == i), 1, 0)
	case drivers.Permissive:
		return on(m.permitted, 1, 0)
	case drivers.Selector:
		return m.auto
	case drivers.ControlPower:
		return on(p.power, 1, 0)
	case drivers.HydraulicOilTemperature:
		return on(m.hot, 84, m.oil) + noise(0.5)
	case drivers.OilLevelSwitch:
		return on(m.oilLow, 1, 0)
	case drivers.DiaphragmLeak:
		return on(m.leaks, 1, 0)
	}
	return 0
}
