package engine_test

import (
	"fmt"
	"slices"
	"testing"
	"time"

	"pumpside/rules/alarm"
)

// The targets: at most one alarm a pump and month, and one message at night
// from a healthy pump and year (our own, in the line of alarm management).
const (
	alarmsPerPumpMonth = 1.0
	callsPerPumpYear   = 1.0
)

// TestAHealthyYearIsQuiet runs a site that is well through a year: batch
// control in the warm half of it, a change of duty every week, outages of gas
// and of the line to the devices.
func TestAHealthyYearIsQuiet(t *testing.T) {
	days := 365
	if testing.Short() {
		days = 60
	}
	p := newPlant(t, 1)
	p.pass(10*time.Minute, 5*time.Second)
	for day := range days {
		p.day(day)
	}
	alarms, nights, counts := 0, 0, map[string]int{}
	for _, e := range p.events {
		if e.Kind == alarm.Raised && e.SuppressedBy == 0 {
			counts[e.pump+" "+e.Alarm]++
			if e.Class == alarm.Alarm {
				alarms++
			}
		}
		if hour := e.At.Wall.Hour(); e.Notify == alarm.Now && (hour >= 22 || hour < 6) {
			nights++
		}
	}
	months, years := float64(days)/365.25*12*2, float64(days)/365.25*2
	t.Logf("%d days of 2 pumps: %.2f alarms a pump and month, %.2f messages at night a pump and year; raised: %v", days, float64(alarms)/months, float64(nights)/years, counts)
	if rate := float64(alarms) / months; rate > alarmsPerPumpMonth {
		t.Errorf("%.2f alarms a pump and month, want %v at most", rate, alarmsPerPumpMonth)
	}
	if rate := float64(nights) / years; rate > callsPerPumpYear {
		t.Errorf("%.2f messages at night a pump and year, want %v at most", rate, callsPerPumpYear)
	}
}

// day lets one day pass.
func (p *plant) day(day int) {
	if day%7 == 6 { // a change of duty
		p.duty = 1 - p.duty
		p.pass(2*time.Minute, 5*time.Second)
	}
	batches := day%365 > 90 && day%365 < 270
	for part := range 6 {
		p.pass(3*time.Hour-6*time.Minute, time.Minute)
		p.blip(day, part)
		if batches {
			p.demand = false
		}
		p.gas = day%180 != 100 || part > 2 // twelve hours without gas, twice a year
		if !p.gas {
			p.demand = false
		}
		p.pass(2*time.Minute, 5*time.Second)
		p.pass(time.Hour-2*time.Minute, time.Minute)
		p.demand = p.gas
		p.pass(4*time.Minute, 5*time.Second)
	}
}

// blip is what comms do at a healthy site: the devices of one pump are silent
// for some seconds, once a day; for ten minutes, once a month.
func (p *plant) blip(day, part int) {
	i := day % 2
	p.mute[i] = part == 2
	p.pass(time.Duration(5+5*(day%5))*time.Second, 5*time.Second)
	if day%30 == 11 && part == 2 {
		p.pass(10*time.Minute, time.Minute)
	}
	p.mute[i] = false
	p.pass(90*time.Second, 5*time.Second)
}

// TestTheBookOfBadDays lets one thing go wrong at a time: each calls the right
// people, once, within the time there is, and nothing else calls anybody.
func TestTheBookOfBadDays(t *testing.T) {
	tests := []struct {
		name    string
		wrong   func(p *plant)
		calls   []string // alarm and responder of the messages that call at once
		waits   []string // of those that wait for the working day
		within  time.Duration
		lasting time.Duration
	}{
		{
			"the duty pump trips and the standby takes over", func(p *plant) { p.pumps[0].trips = true; p.takeOver(30 * time.Second) },
			nil,
			[]string{"gp-1 drive_fault control_room", " north_no_spare_left mechanic"},
			0, time.Hour,
		},
		{
			"both pumps trip", func(p *plant) { p.pumps[0].trips, p.pumps[1].trips = true, true },
			[]string{" north_circulation_lost control_room"},
			[]string{"gp-1 drive_fault control_room", "gp-2 drive_fault control_room", " north_no_spare_left mechanic"},
			3 * time.Minute, time.Hour,
		},
		{
			"the duty pump turns and moves nothing, the standby is not asked", func(p *plant) { p.pumps[0].starved = true },
			[]string{" north_circulation_lost control_room"},
			[]string{"gp-1 no_flow control_room", "gp-1 glycol_flow_low control_room"},
			3 * time.Minute, time.Hour,
		},
		{
			"power is lost", func(p *plant) { p.power = false },
			[]string{" north_group_power_lost control_room"},
			[]string{"gp-1 power_lost control_room", "gp-2 power_lost control_room"},
			time.Minute, time.Hour,
		},
		{
			"the permissive keeps both from running", func(p *plant) { p.pumps[0].permitted, p.pumps[1].permitted = false, false },
			[]string{" north_circulation_lost control_room"},
			[]string{"gp-1 stopped_by_permissive control_room", " north_no_spare_left mechanic"},
			3 * time.Minute, time.Hour,
		},
		{
			"a diaphragm fails", func(p *plant) { p.pumps[0].leaks = true },
			[]string{"gp-1 diaphragm_leak mechanic"},
			nil, time.Minute, 2 * time.Hour,
		},
		{
			"oil is low", func(p *plant) { p.pumps[0].oilLow = true },
			[]string{"gp-1 oil_level_low mechanic"},
			nil, 2 * time.Minute, 2 * time.Hour,
		},
		{
			"gas flows back through the stopped pumps", func(p *plant) {
				p.gas, p.demand = false, false
				p.pass(5*time.Minute, 5*time.Second)
				p.pumps[0].suction, p.pumps[1].suction = 200e3, 200e3
			},
			[]string{" north_group_reverse_flow control_room"},
			[]string{"gp-1 reverse_flow control_room", "gp-2 reverse_flow control_room"},
			8 * time.Minute, time.Hour,
		},
		{
			"nobody sees the pumps any more", func(p *plant) { p.mute = [2]bool{true, true} },
			[]string{" north_circulation_unseen control_room"},
			nil, 18 * time.Minute, time.Hour,
		},
		{
			"the selector is left in hand", func(p *plant) { p.pumps[1].auto = 1 },
			nil,
			[]string{"gp-2 selector_not_auto control_room", " north_no_spare_left mechanic"},
			0, 2 * time.Hour,
		},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			p := newPlant(t, 7)
			p.pass(2*time.Hour, 10*time.Second)
			from, began := len(p.events), p.at.Wall
			tt.wrong(p)
			p.pass(tt.lasting, 5*time.Second)
			calls, waits := map[string]int{}, map[string]int{}
			for _, e := range p.events[from:] {
				key := fmt.Sprintf("%s %s %v", e.pump, e.Alarm, e.Responder)
				switch e.Notify {
				case alarm.Now:
					calls[key]++
					if took := e.At.Wall.Sub(began); took > tt.within || took > e.TimeToRespond {
						t.Errorf("%s after %v, want it within %v and the %v there are", key, took, tt.within, e.TimeToRespond)
					}
				case alarm.NextWorkingDay:
					waits[key]++
				}
			}
			sameCounts(t, "calls", calls, tt.calls)
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
