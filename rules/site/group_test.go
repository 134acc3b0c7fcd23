package site_test

import (
	"slices"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"pumpside/drivers"
	"pumpside/drivers/quantity"
	"pumpside/rules/alarm"
	"pumpside/rules/site"
)

// A station is a group of two pumps of which one must run, a second at a time.
type station struct {
	t      *testing.T
	set    *site.Settings
	state  *site.State
	batch  site.Batch
	pumps  []site.Pump
	events []*alarm.Event
}

// runs is a pump that circulates, rests one that would start.
var (
	runs    = site.Pump{Running: alarm.Yes, Delivering: alarm.Yes, Available: alarm.Yes, Power: alarm.Yes, Gas: alarm.Yes}
	rests   = site.Pump{Running: alarm.No, Delivering: alarm.No, Available: alarm.Yes, Power: alarm.Yes, Gas: alarm.Yes}
	failed  = site.Pump{Running: alarm.No, Delivering: alarm.No, Available: alarm.No, Power: alarm.Yes, Gas: alarm.Yes}
	spins   = site.Pump{Running: alarm.Yes, Delivering: alarm.No, Available: alarm.Yes, Power: alarm.Yes, Gas: alarm.Yes}
	unseen  = site.Pump{Gas: alarm.Yes}
	unread  = site.Pump{Running: alarm.Yes, Available: alarm.Yes, Power: alarm.Yes, Gas: alarm.Yes}
	unlit   = site.Pump{Running: alarm.No, Delivering: alarm.No, Available: alarm.No, Power: alarm.No, Gas: alarm.Yes}
	metered = func(p site.Pump, litres float64) site.Pump {
		p.Flow, p.FlowKnown, p.FlowShared = quantity.CubicMetersPerSecond(litres*1e-3/60), true, true
		return p
	}
)

func newStation(t *testing.T, change func(*site.Group)) *station {
	t.Helper()
	g := site.Group{ID: "north", Pumps: []string{"gp-1", "gp-2"}}
	if change != nil {
		change(&g)
	}
	set, err := site.Settings{Groups: []site.Group{g}}.Checked()
	if err != nil {
		t.Fatal(err)
	}
	state, _ := site.Start(set, nil)
	s := &station{t: t, set: set, state: state, pumps: []site.Pump{runs, rests}}
	s.batch.At = drivers.Instant{Wall: noon, Boot: "a", SinceBoot: time.Hour, Synchronized: true}
	return s
}

func (s *station) pass(d, every time.Duration) []string {
	from := len(s.events)
	for range int(d / every) {
		s.batch.Groups = [][]site.Pump{s.pumps}
		s.events = append(s.events, site.Step(s.set, s.state, &s.batch)...)
		s.batch.At.SinceBoot += every
		s.batch.At.Wall = s.batch.At.Wall.Add(every)
	}
	names := []string{}
	for _, e := range s.events[from:] {
		if e.Kind != alarm.Escalated { // nobody is here to acknowledge
			names = append(names, e.Kind.String()+" "+e.Alarm)
		}
	}
	return names
}

func TestCirculation(t *testing.T) {
	asked := func(p site.Pump, k alarm.Known) site.Pump { p.Asked = k; return p }
	gas := func(p site.Pump, k alarm.Known) site.Pump { p.Gas = k; return p }
	tripped := func(p site.Pump) site.Pump { p.Faulted = true; return p }
	blind := func(p site.Pump) site.Pump { p.Gas, p.GasMetered = alarm.Unknown, true; return p }
	tests := []struct {
		name   string
		change func(*site.Group)
		pumps  []site.Pump
		within time.Duration
		want   []string
	}{
		{"one runs, one stands by", nil, []site.Pump{runs, rests}, time.Hour, []string{}},
		{"the standby took over: no page", nil, []site.Pump{failed, runs}, 5 * time.Minute, []string{"raised north_no_spare_left"}},
		{"change-over, both run for a while", nil, []site.Pump{runs, runs}, 9 * time.Minute, []string{}},
		{"both run when one is enough", nil, []site.Pump{runs, runs}, 11 * time.Minute, []string{"raised north_too_many_running"}},
		{"none runs and gas flows", nil, []site.Pump{rests, rests}, 2 * time.Minute, []string{"raised north_circulation_lost"}},
		{"lost for less than a minute is no page", nil, []site.Pump{rests, rests}, 55 * time.Second, []string{}},
		{"the meter of the pump that stands shows no gas, that of the other is bad", nil, []site.Pump{gas(rests, alarm.No), blind(rests)}, time.Hour, []string{}},
		{"none runs and no gas flows", nil, []site.Pump{gas(rests, alarm.No), gas(rests, alarm.No)}, time.Hour, []string{}},
		{"it turns and moves nothing", nil, []site.Pump{spins, rests}, 2 * time.Minute, []string{"raised north_circulation_lost"}},
		{"the header's meter shows nothing", nil, []site.Pump{metered(runs, 0), metered(rests, 0)}, 2 * time.Minute, []string{"raised north_circulation_lost"}},
		{"the header's meter shows flow", nil, []site.Pump{metered(runs, 20), metered(rests, 20)}, time.Hour, []string{}},
		{"stopped on demand, as in batch control", nil, []site.Pump{asked(rests, alarm.No), asked(rests, alarm.No)}, 29 * time.Minute, []string{}},
		{"a pump runs without flow while nothing is asked: that is no pause", nil, []site.Pump{asked(spins, alarm.No), asked(rests, alarm.No)}, 2 * time.Minute, []string{"raised north_circulation_lost"}},
		{"stopped on demand for too long while gas flows", nil, []site.Pump{asked(rests, alarm.No), asked(rests, alarm.No)}, 32 * time.Minute, []string{"raised north_circulation_lost"}},
		{"asked to run and none does", nil, []site.Pump{asked(rests, alarm.Yes), asked(rests, alarm.No)}, 2 * time.Minute, []string{"raised north_circulation_lost"}},
		{"a pause the site allows", func(g *site.Group) { g.Pause = 20 * time.Minute }, []site.Pump{rests, rests}, 19 * time.Minute, []string{}},
		{"demand not known, no habit yet: nobody can say", nil, []site.Pump{gas(rests, alarm.Unknown), gas(rests, alarm.Unknown)}, time.Hour, []string{}},
		{"demand not known, and the pump that ran trips: that is no pause", nil, []site.Pump{gas(tripped(failed), alarm.Unknown), gas(rests, alarm.Unknown)}, 2 * time.Minute, []string{"raised north_circulation_lost", "raised north_no_spare_left"}},
		{"demand not known, and the standby trips while the other rests", nil, []site.Pump{gas(rests, alarm.Unknown), gas(tripped(failed), alarm.Unknown)}, 2 * time.Minute, []string{"raised north_no_spare_left"}},
		{"it trips within the pause the site allows", func(g *site.Group) { g.Pause = 2 * time.Hour }, []site.Pump{tripped(failed), rests}, 2 * time.Minute, []string{"raised north_circulation_lost", "raised north_no_spare_left"}},
		{"it trips, and then no glycol is asked for", nil, []site.Pump{asked(tripped(failed), alarm.No), asked(rests, alarm.No)}, 20 * time.Minute, []string{"raised north_no_spare_left"}},
		{"it trips, and no gas flows", nil, []site.Pump{gas(tripped(failed), alarm.No), gas(rests, alarm.No)}, time.Hour, []string{"raised north_no_spare_left"}},
		{"nobody sees it", nil, []site.Pump{unseen, unseen}, 16 * time.Minute, []string{"raised north_circulation_unseen"}},
		{"the pump that runs is not seen, the other stands", nil, []site.Pump{unseen, rests}, 16 * time.Minute, []string{"raised north_circulation_unseen"}},
		{"a pump runs and its meter cannot be read", nil, []site.Pump{unread, rests}, time.Hour, []string{}},
		{"two of two must run, and one is not seen", func(g *site.Group) { g.Required = 2 }, []site.Pump{unread, unseen}, 16 * time.Minute, []string{"raised north_circulation_unseen"}},
		{"the pump that runs is not seen, and the header's meter shows flow", nil, []site.Pump{metered(unseen, 20), metered(rests, 20)}, time.Hour, []string{}},
		{"one is not seen, the other runs", nil, []site.Pump{unseen, runs}, time.Hour, []string{}},
		{"all power is lost: one message", nil, []site.Pump{unlit, unlit}, time.Hour, []string{"raised north_group_power_lost"}},
		{"the power of one is lost", nil, []site.Pump{runs, unlit}, 5 * time.Minute, []string{"raised north_no_spare_left"}},
		{"two of two must run", func(g *site.Group) { g.Required = 2 }, []site.Pump{runs, failed}, 2 * time.Minute, []string{"raised north_circulation_lost"}},
		{"less than the gas needs", func(g *site.Group) { g.Target = 30e-3 / 60 }, []site.Pump{metered(runs, 20), metered(rests, 20)}, 31 * time.Minute, []string{"raised north_circulation_low"}},
		{"a single pump may be a group", func(g *site.Group) { g.Pumps = g.Pumps[:1] }, []site.Pump{failed}, 2 * time.Minute, []string{"raised north_circulation_lost"}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			s := newStation(t, tt.change)
			s.batch.At.SinceBoot++
			s.pumps = tt.pumps
			if len(s.set.Groups[0].Pumps) == 2 && s.set.Groups[0].Required == 1 && tt.name != "nobody sees it" {
				good := s.pumps
				s.pumps = []site.Pump{runs, rests}
				s.pass(time.Minute, time.Second)
				s.pumps = good
			}
			got := s.pass(tt.within, time.Second)
			if d := cmp.Diff(tt.want, got); d != "" {
				t.Errorf("events (-want +got):\n%s", d)
			}
		})
	}
}

func TestPumpsInNoGroupThatNobodySees(t *testing.T) {
	seen, unseen := site.Pump{Running: alarm.Yes}, site.Pump{Unseen: true}
	dark := site.Pump{Running: alarm.No, Power: alarm.No}
	const power = "[MEDIUM] Ridge: control POWER LOST at P-3 and P-4 10 s. Act in 30 min."
	const rest = " NOT SEEN 15 min, no news, not necessarily a stop. Act in 30 min."
	type stretch struct {
		d     time.Duration
		pumps []site.Pump
	}
	tests := []struct {
		name string
		live []stretch
		want []string
	}{
		{"all are seen", []stretch{{time.Hour, []site.Pump{seen, seen}}}, nil},
		{"one is not", []stretch{{16 * time.Minute, []site.Pump{seen, unseen}}}, []string{"[MEDIUM] Ridge: P-4" + rest}},
		{"none is: one call", []stretch{{16 * time.Minute, []site.Pump{unseen, unseen}}}, []string{"[MEDIUM] Ridge: P-3 and P-4" + rest}},
		{"the second an hour later is news", []stretch{{time.Hour, []site.Pump{unseen, seen}}, {time.Hour, []site.Pump{unseen, unseen}}}, []string{"[MEDIUM] Ridge: P-3" + rest, "[MEDIUM] Ridge: P-4 and P-3" + rest}},
		{"both lose their power: one call", []stretch{{time.Hour, []site.Pump{dark, dark}}}, []string{power}},
		{"no news of them", []stretch{{time.Hour, nil}}, nil},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			set, err := site.Settings{Alone: []string{"gp-3", "gp-4"}}.Checked()
			if err != nil {
				t.Fatal(err)
			}
			state, _ := site.Start(set, nil)
			at := drivers.Instant{Wall: noon, Boot: "a", SinceBoot: time.Hour, Synchronized: true}
			var calls []string
			for _, part := range tt.live {
				for range int(part.d / time.Second) {
					for _, e := range site.Step(set, state, &site.Batch{At: at, Alone: part.pumps}) {
						if e.Notify == alarm.Now && e.Kind != alarm.Escalated {
							calls = append(calls, alarm.Render(*e, alarm.Site{Name: "Ridge", Tags: map[string]string{"gp-3": "P-3", "gp-4": "P-4"}}).Headline)
						}
					}
					at.SinceBoot, at.Wall = at.SinceBoot+time.Second, at.Wall.Add(time.Second)
				}
			}
			if d := cmp.Diff(tt.want, calls); d != "" {
				t.Errorf("calls (-want +got):\n%s", d)
			}
		})
	}
}

func TestLostCirculationSaysHowItStands(t *testing.T) {
	s := newStation(t, nil)
	s.pumps = []site.Pump{spins, failed}
	s.pass(5*time.Minute, time.Second)
	i := slices.IndexFunc(s.events, func(e *alarm.Event) bool { return e.Alarm == "north_circulation_lost" })
	if i < 0 {
		t.Fatal("not lost")
	}
	e := s.events[i]
	got := alarm.Render(*e, alarm.Site{Name: "Ridge Site", Group: e.Group}).Headline
	const want = "[HIGH] Ridge Site, north: glycol circulation LOST 1 min. Standby NOT available, gas flowing. Act in 30 min."
	if got != want {
		t.Errorf("headline\n got %s\nwant %s", got, want)
	}
	if e.Group != "north" || len(e.Evidence) != 2 || e.Evidence[0].Value != 0 || e.Evidence[1].Value != 1 {
		t.Errorf("group %q, evidence %v", e.Group, e.Evidence)
	}
}

func TestGasIsKnownToStandOnlyByEveryMeter(t *testing.T) {
	metered := func(k alarm.Known) site.Pump { return site.Pump{Gas: k, GasMetered: true} }
	tests := []struct {
		name  string
		pumps []site.Pump
		want  alarm.Known
	}{
		{"both meters show none", []site.Pump{metered(alarm.No), metered(alarm.No)}, alarm.No},
		{"one shows none, the other is bad", []site.Pump{metered(alarm.No), metered(alarm.Unknown)}, alarm.Unknown},
		{"one shows gas, the other is bad", []site.Pump{metered(alarm.Unknown), metered(alarm.Yes)}, alarm.Yes},
		{"one shows none, the other pump has no meter", []site.Pump{metered(alarm.No), {}}, alarm.No},
		{"no meter at all", []site.Pump{{}, {}}, alarm.Unknown},
	}
	for _, tt := range tests {
		s := newStation(t, nil)
		s.pumps = tt.pumps
		s.pass(time.Second, time.Second)
		if got := s.state.Snapshot(s.set).Groups[0].Gas; got != tt.want {
			t.Errorf("%s: gas %v, want %v", tt.name, got, tt.want)
		}
	}
}

func TestOneOfTwoThatDeliverIsShortAndNotLost(t *testing.T) {
	own := func(p site.Pump, litres float64) site.Pump { p = metered(p, litres); p.FlowShared = false; return p }
	s := newStation(t, func(g *site.Group) { g.Required = 2 })
	s.pumps = []site.Pump{own(rests, 0), own(runs, 20.6)}
	s.pass(2*time.Minute, time.Second)
	s.pumps = []site.Pump{own(rests, 0), own(rests, 0)}
	s.pass(2*time.Minute, time.Second)
	s.pumps = []site.Pump{own(runs, 20.6), own(runs, 20.6)}
	s.pass(2*time.Minute, time.Second)
	var got []string
	var first alarm.Message
	for _, e := range s.events {
		if e.Alarm == "north_circulation_lost" {
			m := alarm.Render(*e, alarm.Site{Name: "Ridge Site", Group: e.Group})
			got = append(got, m.Headline)
			if e.Kind == alarm.Raised {
				first = m
			}
		}
	}
	want := []string{
		"[HIGH] Ridge Site, north: circulation SHORT, 1 of 2 pumps deliver, 20.6 L/min, 1 min. No standby, gas on. Act in 30 min.",
		"[HIGH] Ridge Site, north: WORSE: glycol circulation LOST 3 min. No standby, gas flowing. Act in 30 min.",
		"[CLEARED] Ridge Site, north: glycol circulation lost, after 4 min.",
	}
	if d := cmp.Diff(want, got); d != "" {
		t.Errorf("headlines (-want +got):\n%s", d)
	}
	if first.Actions[0].Text != "When it is certain that nobody is at gp-1, and its own alarm allows it: start it again by site procedure, and watch for flow within two minutes. There is no standby." {
		t.Errorf("first step %s", first.Actions[0].Text)
	}
}

func TestAPumpThatIsRequiredIsNoStandby(t *testing.T) {
	tests := []struct {
		name     string
		required int
		pumps    []site.Pump
		want     drivers.Standby // behind the first pump
	}{
		{"two of two must run", 2, []site.Pump{rests, runs}, drivers.StandbyNone},
		{"two of three must run, the third would start", 2, []site.Pump{failed, runs, rests}, drivers.StandbyAvailable},
		{"two of three must run, the third runs too", 2, []site.Pump{failed, runs, runs}, drivers.StandbyRunning},
		{"two of three must run, the third cannot", 2, []site.Pump{rests, runs, failed}, drivers.StandbyNotAvailable},
		{"two of three must run, nobody knows of the third", 2, []site.Pump{rests, runs, unseen}, drivers.StandbyUnknown},
		{"one of two must run, and does", 1, []site.Pump{rests, runs}, drivers.StandbyRunning},
	}
	for _, tt := range tests {
		s := newStation(t, func(g *site.Group) {
			g.Pumps, g.Required = []string{"gp-1", "gp-2", "gp-3"}[:len(tt.pumps)], tt.required
		})
		s.pumps = tt.pumps
		s.pass(time.Second, time.Second)
		if got := s.state.Snapshot(s.set).Groups[0].Standby[0]; got != tt.want {
			t.Errorf("%s: standby %s, want %s", tt.name, got, tt.want)
		}
	}
}

func TestPowerThatComesBackEndsTheMessage(t *testing.T) {
	s := newStation(t, nil)
	s.pumps = []site.Pump{unlit, unlit}
	s.pass(time.Minute, time.Second)
	s.pumps = []site.Pump{unseen, unseen} // what tells has no power either
	if got := s.pass(30*time.Minute, time.Second); len(got) > 0 {
		t.Errorf("meanwhile: %v", got)
	}
	s.pumps = []site.Pump{runs, rests}
	if d := cmp.Diff([]string{"cleared north_group_power_lost"}, s.pass(5*time.Minute, time.Second)); d != "" {
		t.Errorf("events (-want +got):\n%s", d)
	}
}

// Their signals died with the power, and the pumps have run since: the lost
// circulation called nobody.
func TestGroupWhosePumpsRanOnIsNotDark(t *testing.T) {
	dead := func(p site.Pump) site.Pump { p.Power = alarm.Unknown; return p }
	for _, back := range [][]site.Pump{{dead(runs), dead(rests)}, {dead(rests), dead(failed)}} {
		s := newStation(t, func(g *site.Group) { g.Pause = time.Minute })
		s.pumps = []site.Pump{unlit, unlit}
		s.pass(time.Minute, time.Second)
		s.pumps = back
		if got := s.pass(5*time.Minute, time.Second); !slices.Contains(got, "cleared north_group_power_lost") {
			t.Errorf("seen again: %v", got)
		}
		s.pumps = []site.Pump{dead(failed), dead(failed)}
		s.pass(10*time.Minute, time.Second)
		if !slices.ContainsFunc(s.events, func(e *alarm.Event) bool { return e.Alarm == "north_circulation_lost" && e.Notify == alarm.Now }) {
			t.Errorf("the lost circulation calls nobody")
		}
	}
}

func TestStandbyIsToBeExercised(t *testing.T) {
	s := newStation(t, nil)
	if got := s.pass(30*24*time.Hour, time.Minute); len(got) > 0 {
		t.Errorf("within 30 days: %v", got)
	}
	if d := cmp.Diff([]string{"raised north_standby_not_exercised"}, s.pass(time.Hour, time.Minute)); d != "" {
		t.Errorf("events (-want +got):\n%s", d)
	}
	s.pumps = []site.Pump{rests, runs}
	if d := cmp.Diff([]string{"cleared north_standby_not_exercised"}, s.pass(10*time.Minute, time.Minute)); d != "" {
		t.Errorf("events (-want +got):\n%s", d)
	}
}

func TestUnevenHoursAreToldWhereDutyIsHandedOver(t *testing.T) {
	s := newStation(t, func(g *site.Group) { g.ChangeOver = 7 * 24 * time.Hour })
	for range 60 {
		s.pass(24*time.Hour, 30*time.Minute)
		s.pumps[0].RunTime += 22 * time.Hour
		s.pumps[1].RunTime += 2 * time.Hour
	}
	i := slices.IndexFunc(s.events, func(e *alarm.Event) bool { return e.Alarm == "north_hours_uneven" })
	if i < 0 || s.events[i].Value.Value < 0.9 || s.events[i].Limit.Value != 0.75 {
		t.Errorf("events %v", s.events)
	}
}

func TestAGroupGoesOnAfterARestart(t *testing.T) {
	s := newStation(t, nil)
	s.pass(29*24*time.Hour, time.Minute)
	text, err := s.state.Marshal()
	if err != nil {
		t.Fatal(err)
	}
	saved, err := site.Unmarshal(text)
	if err != nil {
		t.Fatal(err)
	}
	s.state, _ = site.Start(s.set, saved)
	s.batch.At.Boot, s.batch.At.SinceBoot = "b", 0
	if d := cmp.Diff([]string{"raised north_standby_not_exercised"}, s.pass(25*time.Hour, time.Minute)); d != "" {
		t.Errorf("events (-want +got):\n%s", d)
	}
}

func TestWhatAPumpIsToldOfItsGroup(t *testing.T) {
	s := newStation(t, nil)
	s.pass(time.Minute, time.Second)
	snap := s.state.Snapshot(s.set)
	for pump, want := range map[string]drivers.Group{
		"gp-1": {Told: true, Others: 1, Required: 1, Standby: drivers.StandbyAvailable},
		"gp-2": {Told: true, Others: 1, Running: 1, Required: 1, Standby: drivers.StandbyRunning},
		"gp-9": {},
	} {
		if d := cmp.Diff(want, snap.Seen(s.set, pump)); d != "" {
			t.Errorf("%s (-want +got):\n%s", pump, d)
		}
	}
	if snap.Seen(s.set, "gp-2").Alone() || !snap.Seen(s.set, "gp-1").Alone() || !snap.Seen(s.set, "gp-2").Covered() {
		t.Error("gp-1 runs alone and covers gp-2")
	}
}

func TestWhatStandsBehindAPump(t *testing.T) {
	for _, tt := range []struct {
		name     string
		required int
		pumps    []site.Pump
		want     drivers.Standby // behind the first
	}{
		{"the other took over", 1, []site.Pump{failed, runs}, drivers.StandbyRunning},
		{"the other would start", 1, []site.Pump{failed, rests}, drivers.StandbyAvailable},
		{"the other failed too", 1, []site.Pump{failed, failed}, drivers.StandbyNotAvailable},
		{"all are required", 2, []site.Pump{failed, runs}, drivers.StandbyNone},
		{"two of three must run and one does", 2, []site.Pump{failed, runs, failed}, drivers.StandbyNotAvailable},
		{"two of three must run and one more would", 2, []site.Pump{failed, runs, rests}, drivers.StandbyAvailable},
	} {
		t.Run(tt.name, func(t *testing.T) {
			ids := []string{"gp-1", "gp-2", "gp-3"}[:len(tt.pumps)]
			s := newStation(t, func(g *site.Group) { g.Pumps, g.Required = ids, tt.required })
			s.pumps = tt.pumps
			s.pass(2*time.Second, time.Second)
			if got := s.state.Snapshot(s.set).Seen(s.set, "gp-1").Standby; got != tt.want {
				t.Errorf("%s, want %s", got, tt.want)
			}
		})
	}
}

func TestGroupsAreChecked(t *testing.T) {
	for text, groups := range map[string][]site.Group{
		`group "a" has no pump`:                     {{ID: "a"}},
		`group "a" needs 3 pumps and has 1`:         {{ID: "a", Pumps: []string{"x"}, Required: 3}},
		`pump "x" is in group "a" and in group "b"`: {{ID: "a", Pumps: []string{"x"}}, {ID: "b", Pumps: []string{"x"}}},
	} {
		if _, err := (site.Settings{Groups: groups}).Checked(); err == nil || err.Error() != text {
			t.Errorf("error %v, want %s", err, text)
		}
	}
}
