package engine_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"pumpside/drivers"
	"pumpside/rules/alarm"
)

// pages lists who was called since the event number from, with the time since
// then began and what the call speaks for.
func (p *plant) pages(from int, began time.Time) (list []string) {
	for _, e := range p.events[from:] {
		if e.Notify == alarm.Now {
			text := fmt.Sprintf("%v: %s %v", e.At.Wall.Sub(began), strings.TrimLeft(e.pump+"/"+e.Alarm, "/"), e.Kind)
			if len(e.Alarms) > 0 {
				text += " for " + strings.Join(e.Alarms, ", ")
			}
			list = append(list, fmt.Sprintf("%s, act in %v", text, e.TimeToRespond))
		}
	}
	return list
}

// command lets a person do something to an alarm, of the site with "".
func (p *plant) command(pump, name string, verb drivers.Verb) {
	p.due = append(p.due, answer{p.at.SinceBoot, pump, name, verb})
}

// What the call about the circulation speaks for needs no call of its own, and
// has one as soon as nobody speaks for it.
func TestAPumpThatRunsWithoutFlowIsNeverLeftUnsaid(t *testing.T) {
	const s = 5 * time.Second
	tests := []struct {
		name   string
		asleep bool
		run    func(p *plant)
		want   []string
	}{
		{"acknowledged and stopped: no more", false, func(p *plant) {
			p.acts = func(p *plant) { p.duty = 1 }
			p.pumps[0].starved = true
			p.pass(2*time.Hour, s)
		}, []string{"1m10s: north_circulation_lost raised for gp-1/no_flow, act in 30m0s"}},
		{"acknowledged, and it still runs when all the time is gone: the pump calls", false, func(p *plant) {
			p.pumps[0].starved = true
			p.pass(time.Hour, s)
		}, []string{"1m10s: north_circulation_lost raised for gp-1/no_flow, act in 30m0s", "36m10s: gp-1/no_flow reminded, act in 30m0s"}},
		{"the standby takes over by itself and this one still runs dry: the pump calls within seconds of that", true, func(p *plant) {
			p.pumps[0].starved = true
			p.pass(3*time.Minute, s)
			p.both = true // the standby is asked, and the demand of this one stays
			p.pass(2*time.Minute, s)
		}, []string{"1m10s: north_circulation_lost raised for gp-1/no_flow, act in 30m0s", "4m0s: gp-1/no_flow reminded, act in 30m0s"}},
		{"nobody answers: the next people are called as early as the pump's own call would have", true, func(p *plant) {
			p.demand = false
			p.pass(20*time.Minute, s)
			p.pumps[0].starved, p.demand = true, true
			p.pass(10*time.Minute, s)
		}, []string{
			"21m5s: north_circulation_lost raised for gp-1/failed_to_prime, act in 5m0s",
			"23m35s: north_circulation_lost escalated for gp-1/failed_to_prime, act in 5m0s",
			"26m5s: north_circulation_lost escalated for gp-1/failed_to_prime, act in 5m0s",
		}},
		{"the group's alarm is shelved while the pump runs dry: the pump calls", true, func(p *plant) {
			p.pumps[0].starved = true
			p.pass(2*time.Minute, s)
			p.command("", "north_circulation_lost", drivers.Shelve)
			p.pass(time.Minute, s)
		}, []string{"1m10s: north_circulation_lost raised for gp-1/no_flow, act in 30m0s", "2m15s: gp-1/no_flow reminded, act in 30m0s"}},
		{"the group's alarm was shelved before: the pump calls for itself", true, func(p *plant) {
			p.command("", "north_circulation_lost", drivers.Shelve)
			p.pass(s, s)
			p.pumps[0].starved = true
			p.pass(3*time.Minute, s)
		}, []string{"1m15s: gp-1/no_flow raised, act in 30m0s"}},
		{"the agent is stopped for a minute in between: nothing is told twice", true, func(p *plant) {
			p.pumps[0].starved = true
			p.pass(2*time.Minute, s)
			p.restart(time.Minute)
			p.pass(5*time.Minute, s)
		}, []string{"1m10s: north_circulation_lost raised for gp-1/no_flow, act in 30m0s"}},
		{"acknowledged, the agent restarts, the pump still runs: the time goes on", false, func(p *plant) {
			p.pumps[0].starved = true
			p.pass(10*time.Minute, s)
			p.restart(time.Minute)
			p.pass(30*time.Minute, s)
		}, []string{"1m10s: north_circulation_lost raised for gp-1/no_flow, act in 30m0s", "36m10s: gp-1/no_flow reminded, act in 30m0s"}},
		{"nobody tells the pump of its group any more: the pump calls", true, func(p *plant) {
			p.pumps[0].starved = true
			p.pass(2*time.Minute, s)
			p.deaf = true
			p.pass(3*time.Minute, s)
		}, []string{"1m10s: north_circulation_lost raised for gp-1/no_flow, act in 30m0s", "3m10s: gp-1/no_flow reminded, act in 30m0s"}},
		{"the site's messages are held back as too many: a summary calls, and the pump for itself", true, func(p *plant) {
			fill(&p.site.Alarms.Flood)
			p.pumps[0].starved = true
			p.pass(5*time.Minute, s)
		}, []string{"1m10s: gp-1/no_flow raised, act in 30m0s", "1m10s: alarm_flood summary for north_circulation_lost, act in 30m0s"}},
		{"another pump delivers: the pump calls for itself", true, func(p *plant) {
			p.both = true
			p.pass(5*time.Minute, s)
			p.pumps[0].starved = true
			p.pass(3*time.Minute, s)
		}, []string{"6m10s: gp-1/no_flow raised, act in 30m0s"}},
		{"a pump that is started after the call and does not prime is news", false, func(p *plant) {
			p.pumps[0].trips, p.pumps[1].trips = true, true
			p.pass(20*time.Minute, s)
			p.pumps[0].trips, p.pumps[0].starved = false, true
			p.pass(3*time.Minute, s)
		}, []string{"1m10s: north_circulation_lost raised, act in 30m0s", "21m10s: gp-1/failed_to_prime raised, act in 5m0s"}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			p := newPlant(t, 7)
			p.asleep = tt.asleep
			p.pass(2*time.Hour, 10*time.Second)
			from, began := len(p.events), p.at.Wall
			tt.run(p)
			if got := p.pages(from, began); !slices.Equal(got, tt.want) {
				t.Errorf("calls\n%s\nwant\n%s", strings.Join(got, "\n"), strings.Join(tt.want, "\n"))
			}
		})
	}
}

// Whatever happens in whatever order: a pump that runs without flow, and that
// nobody silenced, has been called for within seconds of its own delay, by its
// own call or by one that names it.
func TestSomebodyAlwaysSpeaksForAPumpWithoutFlow(t *testing.T) {
	seeds := 40
	if testing.Short() {
		seeds = 5
	}
	carried, own := 0, 0
	for seed := range seeds {
		p := newPlant(t, uint64(seed+100))
		p.pass(30*time.Minute, 10*time.Second)
		for range 60 {
			switch p.rand.IntN(9) {
			case 0, 1, 2:
				p.pumps[p.rand.IntN(2)].starved = p.rand.IntN(2) == 0
			case 3:
				p.demand = !p.demand
			case 4:
				p.duty = 1 - p.duty
			case 5:
				p.both = !p.both
			case 6:
				i := p.rand.IntN(2)
				p.pumps[i].trips = !p.pumps[i].trips
			case 7:
				p.command("", "north_circulation_lost", []drivers.Verb{drivers.Shelve, drivers.Unshelve, drivers.Acknowledge}[p.rand.IntN(3)])
			case 8:
				p.asleep = !p.asleep
			}
			p.pass(time.Duration(10+p.rand.IntN(300))*time.Second, 5*time.Second)
		}
		a, b := p.everyDryPumpWasSpokenOf(t, seed)
		carried, own = carried+a, own+b
	}
	t.Logf("%d alarms of pumps without flow called by themselves, %d were left to another call", own, carried)
	if carried == 0 || own == 0 {
		t.Error("one of the two ways was never taken")
	}
}

// everyDryPumpWasSpokenOf checks the events, and counts the alarms that left
// their call to another and those that called by themselves.
func (p *plant) everyDryPumpWasSpokenOf(t *testing.T, seed int) (carried, own int) {
	t.Helper()
	const late = 20 * time.Second
	for i, e := range p.events {
		if e.Kind != alarm.Raised || e.Alarm != "no_flow" && e.Alarm != "failed_to_prime" || e.SuppressedBy != 0 || e.Withheld {
			continue
		}
		if e.Notify == alarm.Now {
			own++
			continue
		}
		carried++
		if !p.spokenOf(i, late) {
			t.Errorf("seed %d: %s of %s, raised %v after the start, was called for by nobody", seed, e.Alarm, e.pump, e.At.Wall.Sub(p.began))
		}
	}
	return carried, own
}

// spokenOf reports whether the alarm that event i raised was called for by
// another call that names it and that its group made since the flow was lost, or
// by its own within the time, or was gone by then.
func (p *plant) spokenOf(i int, late time.Duration) bool {
	raised := p.events[i]
	name := raised.pump + "/" + raised.Alarm
	from, to := raised.At.SinceBoot-raised.Duration, raised.At.SinceBoot+late
	for _, e := range p.events {
		switch at := e.At.SinceBoot; {
		case at < from || at > to:
		case e.Notify == alarm.Now && (e.pump+"/"+e.Alarm == name || slices.Contains(e.Alarms, name)):
			return true
		case at >= raised.At.SinceBoot && e.pump == raised.pump && e.Alarm == raised.Alarm && e.Occurrence == raised.Occurrence && (e.Kind == alarm.Cleared || e.Kind == alarm.AcknowledgedBy):
			return true
		}
	}
	return false
}

// One level, two pumps that watch it: one call. The other pump's alarm stands,
// and calls when the first is silenced.
func TestTwoLimitsOnOneValueAreOneCall(t *testing.T) {
	p := newPlant(t, 7)
	p.asleep = true
	p.pass(2*time.Hour, 10*time.Second)
	from, began := len(p.events), p.at.Wall
	p.pumps[0].empty, p.pumps[1].empty = true, true
	p.pass(10*time.Minute, 5*time.Second)
	want := []string{"1m5s: gp-1/glycol_level_low raised, act in 1h0m0s"}
	if got := p.pages(from, began); !slices.Equal(got, want) {
		t.Errorf("calls %q, want %q", got, want)
	}
	i := slices.IndexFunc(p.states[1].Alarms.Alarms, func(m alarm.Machine) bool { return m.Name == "glycol_level_low" })
	if m := &p.states[1].Alarms.Alarms[i]; m.State != alarm.Unacknowledged || m.Carry.By != "gp-1/glycol_level_low" {
		t.Errorf("the other pump's alarm is %v, left to %q", m.State, m.Carry.By)
	}
	p.command("gp-1", "glycol_level_low", drivers.Shelve)
	p.pass(time.Minute, 5*time.Second)
	want = append(want, "10m15s: gp-2/glycol_level_low reminded, act in 1h0m0s")
	if got := p.pages(from, began); !slices.Equal(got, want) {
		t.Errorf("with the first one shelved: calls %q, want %q", got, want)
	}
}

// fill takes all places: the next call is one of too many.
func fill(flood *alarm.Flood) {
	for i := range flood.Left {
		flood.Left[i] = time.Hour
	}
}

// A call that is held back as one of too many speaks for no other pump, whether
// it was about to be made or had been.
func TestACallThatIsHeldBackSpeaksForNobody(t *testing.T) {
	p := newPlant(t, 7)
	p.asleep = true
	p.pass(2*time.Hour, 10*time.Second)
	from, began := len(p.events), p.at.Wall
	flood := &p.states[0].Alarms.Flood
	flood.Active = true
	fill(flood)
	p.pumps[0].empty, p.pumps[1].empty = true, true
	p.pass(10*time.Minute, 5*time.Second)
	want := []string{"1m5s: gp-2/glycol_level_low raised, act in 1h0m0s"}
	if got := p.pages(from, began); !slices.Equal(got, want) {
		t.Errorf("calls %q, want %q", got, want)
	}
}
