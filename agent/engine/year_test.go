package engine_test

import (
	"flag"
	"fmt"
	"slices"
	"testing"
	"time"

	"pumpside/rules/alarm"
	"pumpside/rules/site"
)

// The targets: at most one alarm a pump and month, and one message at night
// from a healthy pump and year (our own, in the line of alarm management).
const (
	alarmsPerPumpMonth = 1.0
	callsPerPumpYear   = 1.0
)

var years = flag.Int("years", 0, "how many healthy years are run, each with a seed of its own; 0 runs one in three parts")

// A part is a stretch of a year with a seed of its own.
type part struct {
	seed         uint64
	from, length int // days
}

// TestAHealthyYearIsQuiet runs sites that are well through all seasons: batch
// control in summer, cold starts in winter, a change of duty every week, gas
// that rests. Then the same with what happens at every site, at random: devices
// and lines that do not answer, drives that trip and go on, outages of power.
func TestAHealthyYearIsQuiet(t *testing.T) {
	parts := []part{{1, 0, 122}, {2, 122, 122}, {3, 244, 121}}
	if testing.Short() {
		parts = []part{{1, 0, 20}, {2, 122, 20}, {3, 244, 20}}
	}
	for seed := range *years {
		parts = append(parts[:seed], part{uint64(seed + 11), 0, 365})
	}
	calm := parts
	if *years == 0 {
		calm = parts[:1] // the winter
	}
	t.Run("nothing happens", func(t *testing.T) { quietYears(t, calm, false) })
	t.Run("with mishaps", func(t *testing.T) { quietYears(t, parts, true) })
}

func quietYears(t *testing.T, parts []part, mishaps bool) {
	all, days := tally{counts: map[string]int{}}, 0
	for _, one := range parts {
		p := newPlant(t, one.seed)
		p.calm = !mishaps
		p.at.Wall = p.began.AddDate(0, 0, one.from)
		p.pass(10*time.Minute, 5*time.Second)
		for range one.length {
			p.day()
		}
		all.add(p.events)
		days += one.length
	}
	months, long := float64(days)/365.25*12*2, float64(days)/365.25*2
	t.Logf("%d days of 2 pumps, %d seeds: %.2f alarms a pump and month (%.2f that call), %.2f messages at night a pump and year; raised: %v",
		days, len(parts), float64(all.alarms)/months, float64(all.calls)/months, float64(all.nights)/long, all.counts)
	if rate := float64(all.alarms) / months; rate > alarmsPerPumpMonth {
		t.Errorf("%.2f alarms a pump and month, want %v at most", rate, alarmsPerPumpMonth)
	}
	if rate := float64(all.nights) / long; rate > callsPerPumpYear && !testing.Short() { // of so few days one is too many
		t.Errorf("%.2f messages at night a pump and year, want %v at most", rate, callsPerPumpYear)
	}
}

// A tally counts what people were told.
type tally struct {
	alarms, calls, nights int
	counts                map[string]int
}

func (a *tally) add(events []told) {
	for _, e := range events {
		if e.Kind == alarm.Raised && e.SuppressedBy == 0 {
			a.counts[e.pump+" "+e.Alarm]++
			if e.Class == alarm.Alarm {
				a.alarms++
			}
		}
		if e.Notify == alarm.Now {
			a.calls++
			if hour := e.At.Wall.Hour(); hour >= 22 || hour < 6 {
				a.nights++
			}
		}
	}
}

// day lets one day of a healthy site pass, an hour at a time.
func (p *plant) day() {
	summer := p.at.Wall.YearDay() > 90 && p.at.Wall.YearDay() < 270
	if p.at.Wall.Weekday() == time.Sunday {
		p.changeOver()
	}
	for range 24 {
		p.mishap()
		if p.rest > 0 {
			p.rest--
		} else if p.chance(6, 365*24) {
			p.rest = 2 + p.rand.IntN(34) // hours without gas
		}
		p.gas = p.rest == 0
		p.ask(p.gas)
		batch := time.Duration(0)
		if summer && p.chance(2, 5) || p.chance(1, 24) {
			batch = time.Duration(5+p.rand.IntN(40)) * time.Minute
			p.ask(false)
			p.pass(batch, time.Minute)
			p.ask(p.gas)
		}
		p.pass(time.Hour-batch-10*time.Minute, time.Minute)
	}
}

// chance is true n times in of.
func (p *plant) chance(n, of int) bool { return p.rand.IntN(of) < n }

// ask sets the demand and follows it closely for two minutes.
func (p *plant) ask(demand bool) {
	if p.demand != demand {
		p.demand = demand
		p.pass(2*time.Minute, 5*time.Second)
	}
}

// changeOver hands duty over; both run for some minutes.
func (p *plant) changeOver() {
	p.both = true
	p.pass(4*time.Minute, 5*time.Second)
	p.duty, p.both = 1-p.duty, false
	p.pass(2*time.Minute, 5*time.Second)
}

// mishap is what happens at every site and is nobody's business at night, how
// often in a year's hours, and for how long.
func (p *plant) mishap() {
	if p.calm {
		return
	}
	const year = 365 * 24
	for _, m := range []struct {
		often       int // in a year
		least, more int // seconds
		set         func(yes bool)
	}{
		{1000, 5, 20, func(yes bool) { p.mute[p.duty] = yes }},       // a device misses some polls
		{12, 300, 600, func(yes bool) { p.mute[1-p.duty] = yes }},    // a switch restarts
		{6, 300, 480, func(yes bool) { p.mute = [2]bool{yes, yes} }}, // the whole line does
		{1, 3600, 7200, func(yes bool) { p.mute[1-p.duty] = yes }},
		{6, 20, 60, func(yes bool) { p.pumps[p.duty].trips = yes }}, // undervoltage, and the drive goes on by itself
		{4, 2, 6, func(yes bool) { p.power = !yes }},                // a dip of the control power
		{1, 300, 2400, func(yes bool) { p.power = !yes }},           // an outage
	} {
		if !p.chance(m.often, year) {
			continue
		}
		m.set(true)
		p.pass(time.Duration(m.least+p.rand.IntN(m.more))*time.Second, 5*time.Second)
		m.set(false)
		p.pass(2*time.Minute, 5*time.Second)
	}
}

// TestTheBookOfBadDays lets one thing go wrong at a time: what cannot wait calls
// the right people exactly once, within the time there is; what can wait calls
// nobody, and is told once for the working day.
func TestTheBookOfBadDays(t *testing.T) {
	tests := []struct {
		name    string
		wrong   func(p *plant)
		call    string   // alarm and responder of the one message that calls at once; "" for none
		waits   []string // of those that wait for the working day
		within  time.Duration
		lasting time.Duration
		before  func(p *plant)
		acts    func(p *plant) // what those who are called do; nil is nothing but to acknowledge
	}{
		{
			"the duty pump trips and the standby takes over", func(p *plant) { p.pumps[0].trips = true; p.takeOver(30 * time.Second) },
			"",
			[]string{"gp-1 drive_fault control_room", " north_no_spare_left mechanic"},
			0, time.Hour, nil, nil,
		},
		{
			"both pumps trip", func(p *plant) { p.pumps[0].trips, p.pumps[1].trips = true, true },
			" north_circulation_lost control_room",
			[]string{"gp-1 drive_fault control_room", "gp-2 drive_fault control_room", " north_no_spare_left mechanic"},
			3 * time.Minute, time.Hour, nil, nil,
		},
		{
			"both pumps trip in their first week, and nothing tells whether glycol is wanted", func(p *plant) { p.pumps[0].trips, p.pumps[1].trips = true, true },
			" north_circulation_lost control_room",
			[]string{"gp-1 drive_fault control_room", "gp-2 drive_fault control_room", " north_no_spare_left mechanic"},
			3 * time.Minute, time.Hour,
			func(p *plant) { p.bare = true; p.pass(20*time.Minute, 5*time.Second) }, nil,
		},
		{
			"the duty pump turns and moves nothing, the standby is not asked", func(p *plant) { p.pumps[0].starved = true },
			// the call about the circulation speaks for the pump: it says to stop it
			" north_circulation_lost control_room",
			[]string{"gp-1 no_flow control_room", "gp-1 glycol_flow_low control_room"},
			75 * time.Second, time.Hour, nil,
			func(p *plant) { p.duty = 1 },
		},
		{
			"power is lost", func(p *plant) { p.power = false },
			" north_group_power_lost control_room",
			[]string{"gp-1 power_lost control_room", "gp-2 power_lost control_room"},
			time.Minute, time.Hour, nil, nil,
		},
		{
			"the permissive keeps both from running", func(p *plant) { p.pumps[0].permitted, p.pumps[1].permitted = false, false },
			" north_circulation_lost control_room",
			[]string{"gp-1 stopped_by_permissive control_room", " north_no_spare_left mechanic"},
			3 * time.Minute, time.Hour, nil, nil,
		},
		{
			"a diaphragm fails", func(p *plant) { p.pumps[0].leaks = true },
			"gp-1 diaphragm_leak mechanic",
			nil, time.Minute, 2 * time.Hour, nil, nil,
		},
		{
			"oil is low", func(p *plant) { p.pumps[0].oilLow = true },
			"gp-1 oil_level_low mechanic",
			nil, 2 * time.Minute, 2 * time.Hour, nil, nil,
		},
		{
			"gas flows back through the stopped pumps", func(p *plant) {
				p.gas, p.demand = false, false
				p.pass(5*time.Minute, 5*time.Second)
				p.pumps[0].suction, p.pumps[1].suction = 200e3, 200e3
			},
			" north_group_reverse_flow control_room",
			[]string{"gp-1 reverse_flow control_room", "gp-2 reverse_flow control_room"},
			8 * time.Minute, time.Hour, nil, nil,
		},
		{
			"nobody sees the pumps any more", func(p *plant) { p.mute = [2]bool{true, true} },
			" north_circulation_unseen control_room",
			nil, 18 * time.Minute, time.Hour, nil, nil,
		},
		{
			"a start that does not prime", func(p *plant) {
				p.pumps[0].starved = true
				p.demand = true
			},
			" north_circulation_lost control_room",
			[]string{"gp-1 failed_to_prime control_room", "gp-1 glycol_flow_low control_room"},
			75 * time.Second, 30 * time.Minute,
			func(p *plant) { p.demand = false; p.pass(20*time.Minute, 5*time.Second) },
			func(p *plant) { p.duty = 1 },
		},
		{
			"cold glycol is asked for", func(p *plant) { p.pumps[0].frosty = true },
			"gp-1 too_cold_to_pump control_room",
			nil, 3 * time.Minute, time.Hour, nil, nil,
		},
		{
			"the tank runs low", func(p *plant) { p.pumps[0].empty, p.pumps[1].empty = true, true },
			"gp-1 glycol_level_low control_room", // both have the limit, on one level: one call names both
			[]string{"gp-2 glycol_level_low control_room"},
			3 * time.Minute, time.Hour, nil, nil,
		},
		{
			"the way of the discharge gets narrow", func(p *plant) { p.pumps[0].blocked = true },
			"gp-1 discharge_pressure_high control_room",
			nil, 3 * time.Minute, time.Hour, nil, nil,
		},
		{
			"the oil gets hot", func(p *plant) { p.pumps[0].hot = true },
			"gp-1 hydraulic_oil_temperature_high mechanic",
			nil, 3 * time.Minute, time.Hour, nil, nil,
		},
		{
			"the pump runs above its rating", func(p *plant) { p.pumps[0].fast = true },
			"gp-1 overspeed control_room",
			nil, time.Minute, time.Hour, nil, nil,
		},
		{
			"the standby trips while it stands by", func(p *plant) { p.pumps[1].trips = true },
			"",
			[]string{"gp-2 drive_fault control_room", " north_no_spare_left mechanic"},
			0, 2 * time.Hour, nil, nil,
		},
		{
			"both run where one is enough", func(p *plant) { p.both = true },
			"",
			[]string{" north_too_many_running control_room"},
			0, 2 * time.Hour, nil, nil,
		},
		{
			"the broker is away", func(p *plant) { p.away = true },
			"",
			[]string{" broker_unreachable automation"},
			0, 2 * time.Hour, nil, nil,
		},
		{
			"the disk fills and the state file cannot be written", func(p *plant) { p.store = site.Store{Failing: true, Disk: 0.99} },
			"",
			[]string{" store_failing automation", " disk_full automation"},
			0, 2 * time.Hour, nil, nil,
		},
		{
			"the selector is left in hand", func(p *plant) { p.pumps[1].auto = 1 },
			"",
			[]string{"gp-2 selector_not_auto control_room", " north_no_spare_left mechanic"},
			0, 2 * time.Hour, nil, nil,
		},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			p := newPlant(t, 7)
			p.pass(2*time.Hour, 10*time.Second)
			if tt.before != nil {
				tt.before(p)
			}
			from, began := len(p.events), p.at.Wall
			p.acts = tt.acts
			tt.wrong(p)
			p.pass(tt.lasting, 5*time.Second)
			var calls []string
			waits := map[string]int{}
			for _, e := range p.events[from:] {
				key := fmt.Sprintf("%s %s %v", e.pump, e.Alarm, e.Responder)
				switch e.Notify {
				case alarm.Now:
					calls = append(calls, key)
					if took := e.At.Wall.Sub(began); took > tt.within || took > e.TimeToRespond {
						t.Errorf("%s after %v, want it within %v and the %v there are", key, took, tt.within, e.TimeToRespond)
					}
				case alarm.NextWorkingDay:
					waits[key]++
				}
			}
			switch want := []string{tt.call}; {
			case tt.call == "" && (len(calls) > 0 || len(waits) == 0):
				t.Errorf("calls %q and waits %v, want no call, and somebody told for the working day", calls, waits)
			case tt.call != "" && !slices.Equal(calls, want):
				t.Errorf("calls %q, want exactly one: %q", calls, want)
			}
			sameCounts(t, "waits", waits, tt.waits)
		})
	}
}

// takeOver hands duty to the standby after a while.
func (p *plant) takeOver(after time.Duration) {
	p.pass(after, 5*time.Second)
	p.duty = 1
}

func sameCounts(t *testing.T, what string, got map[string]int, want []string) {
	t.Helper()
	for _, key := range want {
		if got[key] != 1 {
			t.Errorf("%s: %q %d times, want once", what, key, got[key])
		}
		delete(got, key)
	}
	for key, n := range got {
		t.Errorf("%s: %q %d times, want none", what, key, n)
	}
}

// TestNobodyAnswers: a page that nobody acknowledges goes on to the next person
// at half the time there is and before all of it is gone, and then no more.
func TestNobodyAnswers(t *testing.T) {
	p := newPlant(t, 7)
	p.asleep = true
	p.pass(2*time.Hour, 10*time.Second)
	from := len(p.events)
	p.pumps[0].trips, p.pumps[1].trips = true, true
	p.pass(3*time.Hour, 5*time.Second)
	var got []string
	for _, e := range p.events[from:] {
		if e.Notify == alarm.Now {
			got = append(got, fmt.Sprintf("%v %s %d after %v of %v", e.Kind, e.Alarm, e.Escalation, e.At.Wall.Sub(e.RaisedAt.Wall), e.TimeToRespond))
		}
	}
	want := []string{
		"raised north_circulation_lost 0 after 0s of 30m0s",
		"escalated north_circulation_lost 1 after 15m0s of 30m0s",
		"escalated north_circulation_lost 2 after 30m0s of 30m0s",
	}
	if !slices.Equal(got, want) {
		t.Errorf("calls %q, want %q", got, want)
	}
}
