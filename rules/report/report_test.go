package report_test

import (
	"bytes"
	"encoding/json"
	"flag"
	"os"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/rogpeppe/go-internal/txtar"

	"pumpside/drivers"
	"pumpside/rules"
	"pumpside/rules/alarm"
	"pumpside/rules/counters"
	"pumpside/rules/report"
	"pumpside/rules/service"
	"pumpside/rules/site"
)

var update = flag.Bool("update", false, "write the goldens anew")

// A station is two pumps of an invented site, one of which must run.
type station struct {
	at      drivers.Instant
	sets    []*rules.Settings
	pumps   []*rules.State
	values  []map[drivers.Signal]float64
	siteSet *site.Settings
	site    *site.State
	journal []report.Entry
}

var signals = []drivers.Signal{
	drivers.DriveStatus, drivers.DriveFaultCode, drivers.MotorSpeed, drivers.MotorPower, drivers.GlycolFlow, drivers.GasFlow, drivers.RunDemand,
}

func newStation(t *testing.T) *station {
	t.Helper()
	s := &station{at: drivers.Instant{Wall: time.Date(2026, 3, 1, 6, 0, 0, 0, time.UTC), Boot: "a", SinceBoot: time.Hour, Synchronized: true}}
	for _, id := range []string{"gp-1", "gp-2"} {
		set := rules.Settings{
			Pump: id,
			Counters: counters.Settings{
				Installed: counters.SignalsOf(signals...), Ratio: 5, RatedSpeed: 1450, Displacement: 60e-6, MaxGap: 20 * time.Second,
			},
			Tasks: []service.Task{{Name: "oil", RunTime: 4000 * time.Hour, DueSoon: service.DefaultDueSoon, Overdue: service.DefaultOverdue}},
		}
		set.Standing.InGroup = true
		if id == "gp-2" {
			set.Counters.Opening.Run = 4500 * time.Hour
		}
		for _, one := range signals {
			set.Signals = append(set.Signals, rules.SignalSettings{Signal: one, StaleAfter: time.Minute})
		}
		checked, err := set.Checked()
		if err != nil {
			t.Fatal(err)
		}
		state, _ := rules.Start(checked, nil)
		s.sets, s.pumps, s.values = append(s.sets, checked), append(s.pumps, state), append(s.values, map[drivers.Signal]float64{drivers.GasFlow: 5})
	}
	set, err := site.Settings{
		Buses: []string{"skid"}, Devices: []site.Device{{ID: "drive-1", Bus: "skid"}},
		Groups: []site.Group{{ID: "north", Pumps: []string{"gp-1", "gp-2"}, Target: 18e-3 / 60}},
	}.Checked()
	if err != nil {
		t.Fatal(err)
	}
	s.siteSet = set
	s.site, _ = site.Start(set, nil)
	return s
}

func (s *station) run(i int, yes bool) {
	v := s.values[i]
	v[drivers.DriveStatus], v[drivers.MotorSpeed], v[drivers.MotorPower], v[drivers.GlycolFlow], v[drivers.RunDemand] = float64(drivers.DriveStopped), 0, 0, 0, 0
	if yes {
		v[drivers.DriveStatus], v[drivers.MotorSpeed], v[drivers.MotorPower], v[drivers.GlycolFlow], v[drivers.RunDemand] = float64(drivers.DriveRunning), 1450, 3000, 20e-3/60, 1
	}
}

func (s *station) pass(d time.Duration, commands ...drivers.Command) {
	const every = 10 * time.Second
	for range int(d / every) {
		parts := make([]site.Pump, len(s.pumps))
		for i, p := range s.pumps {
			b := drivers.Batch{At: s.at, Group: s.site.Snapshot(s.siteSet).Seen(s.siteSet, s.sets[i].Pump)}
			if i == 0 {
				b.Commands, commands = commands, nil
			}
			for _, one := range signals {
				b.Readings = append(b.Readings, drivers.Reading{Signal: one, Value: s.values[i][one], Quality: drivers.Good})
			}
			for _, c := range rules.Step(s.sets[i], p, &b) {
				if c.Event != nil {
					s.journal = append(s.journal, report.Entry{Pump: s.sets[i].Pump, Event: c.Event})
				}
			}
			o := p.Operation(s.sets[i])
			parts[i] = site.Pump{
				Running: o.Running, Delivering: o.Delivering, Available: o.Available, Asked: o.Asked, Power: o.Power, Gas: o.Gas,
				Flow: o.Flow, FlowKnown: o.FlowKnown,
			}
		}
		for _, e := range site.Step(s.siteSet, s.site, &site.Batch{At: s.at, Groups: [][]site.Pump{parts}, Polls: []site.Poll{{Answered: true}}}) {
			s.journal = append(s.journal, report.Entry{Event: e})
		}
		s.at.SinceBoot += every
		s.at.Wall = s.at.Wall.Add(every)
	}
}

func (s *station) report(since time.Duration) *report.Report { return report.Of(s.input(since)) }

func (s *station) input(since time.Duration) *report.Input {
	in := report.Input{
		Title: "Ridge Station 7", At: s.at, Since: s.at.Wall.Add(-since), Own: s.site.Snapshot(s.siteSet), Price: 0.12,
		Plates: map[string]report.Plate{
			"gp-1": {Tag: "P-1A", Titles: map[string]string{"oil": "oil of the hydraulic end"}, Parts: map[string]string{"oil": "12 L of oil"}},
			"gp-2": {Tag: "P-1B", Titles: map[string]string{"oil": "oil of the hydraulic end"}, Parts: map[string]string{"oil": "12 L of oil; drain gasket"}},
		},
		Groups: map[string]string{"north": "north circulation"}, Members: map[string]string{"gp-1": "north", "gp-2": "north"},
		Words: func(pump string, e *alarm.Event) alarm.Message {
			return alarm.Render(*e, alarm.Site{Name: "Ridge", Pump: map[string]string{"gp-1": "P-1A", "gp-2": "P-1B"}[pump], Group: e.Group, DriveFault: "overcurrent"})
		},
	}
	for i := range s.pumps {
		in.Pumps = append(in.Pumps, s.pumps[i].Snapshot(s.sets[i]))
	}
	for _, e := range s.journal {
		if !e.Event.At.Wall.Before(in.Since) {
			in.Journal = append(in.Journal, e)
		}
	}
	return &in
}

// aDay is a day on which the duty pump trips and the standby takes over.
func aDay(t *testing.T) *station {
	s := newStation(t)
	s.run(0, true)
	s.run(1, false)
	s.pass(20 * time.Hour)
	s.run(0, false)
	s.values[0][drivers.DriveStatus], s.values[0][drivers.DriveFaultCode], s.values[0][drivers.RunDemand] = float64(drivers.DriveFault), 7, 1
	s.pass(20 * time.Second)
	s.run(1, true)
	s.pass(10*time.Minute, drivers.Command{ID: "1", User: "a.operator", Verb: drivers.Acknowledge, Alarm: "drive_fault", Comment: "mechanic called"})
	s.pass(4*time.Hour - 10*time.Minute - 20*time.Second)
	return s
}

func TestTheDayOfAStation(t *testing.T) {
	r := aDay(t).report(24 * time.Hour)
	var text bytes.Buffer
	r.Print(&text, report.Text{Currency: "EUR"})
	body, err := json.MarshalIndent(r, "", "  ")
	if err != nil {
		t.Fatal(err)
	}
	golden(t, "testdata/day.txtar", "The day on which the duty pump trips: go test ./rules/report -update\n", text.Bytes(), append(body, '\n'))
}

func golden(t *testing.T, file, comment string, text, body []byte) {
	t.Helper()
	a := &txtar.Archive{Comment: []byte(comment), Files: []txtar.File{{Name: "report.txt", Data: text}, {Name: "report.json", Data: body}}}
	got := txtar.Format(a)
	if *update {
		if err := os.WriteFile(file, got, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff(string(want), string(got)); d != "" {
		t.Errorf("report (-want +got):\n%s", d)
	}
}

func TestNeedsComeInTheOrderPeopleShouldGo(t *testing.T) {
	now := time.Date(2026, 3, 1, 6, 0, 0, 0, time.UTC)
	list := []report.Need{
		{Tag: "oil due", Urgency: report.ThisWeek, Rank: 9},
		{Tag: "leak", Urgency: report.Now, Rank: 20, Since: now},
		{Tag: "older leak", Urgency: report.Now, Rank: 20, Since: now.Add(-time.Hour)},
		{Tag: "no spare", Urgency: report.Today, Rank: 10},
		{Tag: "circulation", Urgency: report.Now, Rank: 25, Since: now},
	}
	report.SortNeeds(list)
	var got []string
	for _, n := range list {
		got = append(got, n.Tag)
	}
	if want := []string{"circulation", "older leak", "leak", "no spare", "oil due"}; !slices.Equal(got, want) {
		t.Errorf("order %v, want %v", got, want)
	}
}

func TestWhatIsNotKnownIsNull(t *testing.T) {
	s := newStation(t)
	r := s.report(24 * time.Hour)
	p := r.Pumps[0]
	if p.Run != nil || p.Starts != nil || p.ForSeconds != nil || p.Pumped != nil || p.Mode != rules.ModeUnknown {
		t.Errorf("a pump that was never read: %+v", p)
	}
	if r.Performance.Acknowledge != nil || r.Groups[0].Circulated != nil || r.Groups[0].Moves != alarm.Unknown {
		t.Errorf("%+v, %+v", r.Performance, r.Groups[0])
	}
}

// offline is the report made an hour after the agent stopped, of what it saved.
func (s *station) offline(t *testing.T) *report.Report {
	t.Helper()
	for i, p := range s.pumps {
		body, err := p.Marshal()
		if err != nil {
			t.Fatal(err)
		}
		saved, err := rules.Unmarshal(body)
		if err != nil {
			t.Fatal(err)
		}
		s.pumps[i], _ = rules.Start(s.sets[i], saved)
	}
	body, err := s.site.Marshal()
	if err != nil {
		t.Fatal(err)
	}
	saved, err := site.Unmarshal(body)
	if err != nil {
		t.Fatal(err)
	}
	s.site, _ = site.Start(s.siteSet, saved)
	in := s.input(24 * time.Hour)
	in.At.SinceBoot, in.At.Wall, in.Since, in.Offline = in.At.SinceBoot+time.Hour, in.At.Wall.Add(time.Hour), in.Since.Add(time.Hour), true
	return report.Of(in)
}

func TestWithoutAnAgentTheReportSaysAsOfWhen(t *testing.T) {
	s := aDay(t)
	var text bytes.Buffer
	r := s.offline(t)
	r.Print(&text, report.Text{})
	for _, want := range []string{
		"No agent runs: all this is as of 02 Mar 05:59 UTC, nothing is known since.\n",
		"  not known since 05:59; before, lost at no time\n",
		"  P-1A as of 05:59: stopped by fault for 4 h; nothing since\n",
		"  P-1B as of 05:59: running on demand for 4 h; nothing since\n",
		"NO standby pump left: gp-1 would not start, 3 h 59 min.", // as it was then, not an hour longer
	} {
		if !strings.Contains(text.String(), want) {
			t.Errorf("the report lacks %q:\n%s", want, text.String())
		}
	}
	if !r.Offline || r.AsOf == nil || r.Pumps[1].Mode != rules.ModeUnknown || r.Groups[0].Moves != alarm.Unknown {
		t.Errorf("offline %v, as of %v, %+v, %+v", r.Offline, r.AsOf, r.Pumps[1], r.Groups[0])
	}
}

// A second command on the state file of an agent that has stopped lets time
// pass, and sees nothing: what was last seen stays as old as it is.
func TestTimeWithoutReadingsIsNoNews(t *testing.T) {
	s := aDay(t)
	for i, p := range s.pumps {
		body, _ := p.Marshal()
		saved, err := rules.Unmarshal(body)
		if err != nil {
			t.Fatal(err)
		}
		s.pumps[i], _ = rules.Start(s.sets[i], saved)
		rules.Step(s.sets[i], s.pumps[i], &drivers.Batch{At: s.at})
	}
	if got, want := s.pumps[1].Snapshot(s.sets[1]).Seen, s.at.Wall.Add(-10*time.Second); !got.At.Wall.Equal(want) || got.Mode != rules.Running || got.WantedBy != rules.WantedByDemand {
		t.Errorf("last seen %+v, want running on demand at %v", got, want)
	}
}

func TestAPumpThatWasNeverSeenIsNotGuessed(t *testing.T) {
	var text bytes.Buffer
	newStation(t).offline(t).Print(&text, report.Text{})
	for _, want := range []string{"No agent runs, and no pump was ever seen: nothing is known of now.\n", "  not known; before, lost at no time\n", "  P-1A NOT KNOWN whether it runs\n"} {
		if !strings.Contains(text.String(), want) {
			t.Errorf("the report lacks %q:\n%s", want, text.String())
		}
	}
}

func TestReportSurvivesJSON(t *testing.T) {
	want := aDay(t).report(24 * time.Hour)
	body, err := json.Marshal(want)
	if err != nil {
		t.Fatal(err)
	}
	got := new(report.Report)
	if err := json.Unmarshal(body, got); err != nil {
		t.Fatal(err)
	}
	got.Instant = want.Instant // stays at home
	if d := cmp.Diff(want, got); d != "" {
		t.Errorf("after JSON (-want +got):\n%s", d)
	}
}

func TestASilenceWithoutAClockSaysHowMuchIsLeft(t *testing.T) {
	at := time.Date(2026, 3, 1, 14, 30, 0, 0, time.UTC)
	r := report.Report{Silenced: []report.Silenced{
		{Pump: "gp-1", Alarm: "no_flow", How: "shelved", By: "r.night", Left: 7.5 * 3600},
		{Pump: "gp-1", Alarm: "oil_due", How: "out_of_service", By: "r.night", Until: &at, Left: 3600},
	}}
	var text bytes.Buffer
	r.Print(&text, report.Text{})
	for _, want := range []string{"gp-1/no_flow, shelved by r.night for another 7 h 30 min\n", "gp-1/oil_due, out of service by r.night until 01 Mar 14:30 UTC\n"} {
		if !bytes.Contains(text.Bytes(), []byte(want)) {
			t.Errorf("the report lacks %q:\n%s", want, text.String())
		}
	}
}

func TestTheReportSaysForHowLongCirculationWasLost(t *testing.T) {
	s := newStation(t)
	s.run(0, true)
	s.run(1, false)
	s.pass(time.Hour)
	s.run(0, false)
	s.values[0][drivers.RunDemand] = 1
	said := func(want string) {
		t.Helper()
		var b strings.Builder
		s.report(24*time.Hour).Print(&b, report.Text{})
		if !strings.Contains(b.String(), want) {
			t.Errorf("the report does not say %q:\n%s", want, b.String())
		}
	}
	s.pass(30 * time.Second)
	said("NOT KEPT: 0 of 1 required deliver, standby not available, gas flowing, lost just now")
	s.pass(2 * time.Minute)
	said("gas flowing, lost once, 2 min, and now")
	s.run(0, true)
	s.pass(10 * time.Minute)
	said("kept: 1 of 1 required deliver, standby available, gas flowing, lost once, 3 min")
	if g := s.report(24 * time.Hour).Groups[0]; g.Lost != 1 || g.LostFor < 150 || g.LostFor > 200 {
		t.Errorf("lost %d times, %v s in all", g.Lost, g.LostFor)
	}
}

// A shift's worth of change fits a phone's screen, some forty lines: who is
// needed, the circulation, and each story as one line, the newest first.
func TestAShiftOfChangeFitsAPhone(t *testing.T) {
	s := aDay(t)
	r := s.report(24 * time.Hour)
	end, user := s.at.Wall, "a.operator"
	r.Changes = nil
	for i := range uint64(40) { // newest first; each came, was acknowledged and went
		at := end.Add(-time.Duration(i+1) * 10 * time.Minute)
		c := report.Change{Pump: "gp-1", Where: "P-1A", Alarm: "no_flow", Title: "no glycol flow", Occurrence: 40 - i}
		cleared, seen, raised := c, c, c
		cleared.Event, cleared.At = "cleared", at.Add(5*time.Minute)
		seen.Event, seen.At, seen.User, seen.Active = "acknowledged", at.Add(time.Minute), &user, true
		raised.Event, raised.At, raised.Active = "raised", at, true
		r.Changes = append(r.Changes, cleared, seen, raised)
	}
	var text strings.Builder
	r.Print(&text, report.Text{})
	screen, _, _ := strings.Cut(text.String(), "\n\nPumps\n")
	lines := strings.Split(screen, "\n")
	if len(lines) > 40 {
		t.Errorf("%d lines before the pumps:\n%s", len(lines), screen)
	}
	i := slices.Index(lines, "Changes (40)")
	if i < 0 || lines[i+1] != "  05:50 P-1A: no glycol flow, acknowledged by a.operator, gone after 5 min" || lines[len(lines)-1] != "  … and 28 older; --all shows them" {
		t.Errorf("changes:\n%s", screen)
	}
}

func TestADemandThatIsNotKnownIsSaid(t *testing.T) {
	r := report.Report{Pumps: []report.Pump{
		{Tag: "P-1A", Mode: rules.Running, WantedBy: rules.WantedUnknown, ForSeconds: new(7200.0)},
		{Tag: "P-1B", Mode: rules.Running, WantedBy: rules.WantedByDemand, ForSeconds: new(7200.0)},
		{Tag: "P-1C", Mode: rules.StoppedNotKnown, WantedBy: rules.WantedUnknown, ForSeconds: new(7200.0)},
		{Tag: "P-1D", Mode: rules.RunningInHand, WantedBy: rules.WantedUnknown, ForSeconds: new(7200.0)},
	}}
	var text strings.Builder
	r.Print(&text, report.Text{})
	for _, want := range []string{"  P-1A RUNNING, demand not known for 2 h\n", "  P-1B RUNNING for 2 h\n", "  P-1C STOPPED DEMAND NOT KNOWN for 2 h\n", "  P-1D RUNNING IN HAND for 2 h\n"} {
		if !strings.Contains(text.String(), want) {
			t.Errorf("the report lacks %q:\n%s", want, text.String())
		}
	}
}
