package site_test

import (
	"slices"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"pumpside/drivers"
	"pumpside/rules/alarm"
	"pumpside/rules/site"
)

// unprimed is what a pump tells that has not primed and is about to say so.
var unprimed = alarm.Joint{
	Alarm: "failed_to_prime", Level: alarm.Beyond, Soon: true, Calls: true, Respond: 5 * time.Minute, Priority: alarm.High, Responder: alarm.ControlRoom,
}

// A pump that waits for the group's call has it at once, with what it says and
// the time that leaves; and is told who calls for it, and whether it was seen.
func TestTheCallAboutTheGroupSpeaksForItsPumps(t *testing.T) {
	s := newStation(t, nil)
	s.pass(time.Minute, time.Second)
	waits := unprimed
	waits.Waits = true
	dry := spins
	dry.Joints = []alarm.Joint{waits}
	s.pumps = []site.Pump{dry, rests}
	if got := s.pass(2*time.Second, time.Second); !slices.Equal(got, []string{"raised north_circulation_lost"}) {
		t.Fatalf("%q, want the call at once", got)
	}
	e := s.events[len(s.events)-1]
	if !slices.Equal(e.Alarms, []string{"gp-1/failed_to_prime"}) || e.TimeToRespond != 5*time.Minute || e.EscalateIn != 150*time.Second {
		t.Errorf("speaks for %q, act in %v, escalates in %v", e.Alarms, e.TimeToRespond, e.EscalateIn)
	}
	told := func() []drivers.Carried { return s.state.Seen(s.set, "gp-1").Carried }
	want := []drivers.Carried{{Alarm: "failed_to_prime", By: "north_circulation_lost"}}
	if d := cmp.Diff(want, told()); d != "" {
		t.Errorf("told (-want +got):\n%s", d)
	}
	if d := cmp.Diff(want, s.state.Snapshot(s.set).Seen(s.set, "gp-1").Carried); d != "" {
		t.Errorf("told by the snapshot (-want +got):\n%s", d)
	}
	s.batch.Commands = []drivers.Command{{User: "m.example", Verb: drivers.Acknowledge, Alarm: "north_circulation_lost"}}
	s.pass(time.Second, time.Second)
	s.batch.Commands = nil
	want[0].Answered = true
	if d := cmp.Diff(want, told()); d != "" {
		t.Errorf("told after it was acknowledged (-want +got):\n%s", d)
	}
}

func TestNobodySpeaksForWhatIsNewsOrForOthers(t *testing.T) {
	tests := []struct {
		name  string
		later bool // the pump runs without flow only after the call
		pump  func(j *alarm.Joint)
	}{
		{"it came after the call", true, func(*alarm.Joint) {}},
		{"it was not about to stand when the call was made", false, func(j *alarm.Joint) { j.Soon = false }},
		{"it calls somebody else", false, func(j *alarm.Joint) { j.Responder = alarm.Mechanic }},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			s := newStation(t, nil)
			s.pass(time.Minute, time.Second)
			j := unprimed
			tt.pump(&j)
			dry := spins
			dry.Joints = []alarm.Joint{j}
			if s.pumps = []site.Pump{dry, rests}; tt.later {
				s.pumps = []site.Pump{rests, rests}
			}
			s.pass(2*time.Minute, time.Second)
			s.pumps = []site.Pump{dry, rests}
			s.pass(time.Second, time.Second)
			if got := s.state.Seen(s.set, "gp-1").Carried; got != nil {
				t.Errorf("told that %+v", got)
			}
		})
	}
}

// Of two pumps with a limit on one value the first calls, as long as it reaches
// the same people as early and goes as far.
func TestTheFirstPumpCallsForAValueThatSeveralWatch(t *testing.T) {
	level := alarm.Joint{
		Alarm: "glycol_level_low", Point: "skid.level", Level: alarm.Beyond, Soon: true, Calls: true, Respond: time.Hour, Priority: alarm.Medium, Responder: alarm.ControlRoom,
	}
	tests := []struct {
		name   string
		first  func(j *alarm.Joint)
		second func(j *alarm.Joint)
		want   bool
	}{
		{"the same", nil, nil, true},
		{"another tank", func(j *alarm.Joint) { j.Point = "skid.other" }, nil, false},
		{"another limit of the value", func(j *alarm.Joint) { j.Alarm = "glycol_level_high" }, nil, false},
		{"the first waits longer before it calls", func(j *alarm.Joint) { j.Soon = false }, nil, false},
		{"the first is silenced", func(j *alarm.Joint) { j.Calls = false }, nil, false},
		{"the second has gone further", nil, func(j *alarm.Joint) { j.Level, j.Priority = alarm.FarBeyond, alarm.High }, false},
		{"the second leaves less time", nil, func(j *alarm.Joint) { j.Respond = time.Minute }, false},
		{"the second calls somebody else", nil, func(j *alarm.Joint) { j.Responder = alarm.Mechanic }, false},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			s := newStation(t, nil)
			one, two := level, level
			if tt.first != nil {
				tt.first(&one)
			}
			if tt.second != nil {
				tt.second(&two)
			}
			a, b := runs, rests
			a.Joints, b.Joints = []alarm.Joint{one}, []alarm.Joint{two}
			s.pumps = []site.Pump{a, b}
			s.pass(time.Second, time.Second)
			if got := s.state.Seen(s.set, "gp-1").Carried; got != nil {
				t.Errorf("the first is told that %+v", got)
			}
			var want []drivers.Carried
			if tt.want {
				want = []drivers.Carried{{Alarm: "glycol_level_low", By: "gp-1/glycol_level_low"}}
			}
			if d := cmp.Diff(want, s.state.Seen(s.set, "gp-2").Carried); d != "" {
				t.Errorf("the second is told (-want +got):\n%s", d)
			}
		})
	}
}

// What comes to several groups at once, from one cause, is one call.
func TestPowerThatIsLostAtEveryGroupIsOneCall(t *testing.T) {
	const lead = "[HIGH] Ridge, a: POWER LOST at all pumps 10 s, circulation LOST, also at b. No standby, gas flowing. Act in 30 min."
	tests := []struct {
		name  string
		later time.Duration // b loses it so much later than a
		ack   bool          // somebody has acknowledged a's by then
		dark  site.Pump
		want  []string
	}{
		{"both at once", 0, false, unlit, []string{"a_group_power_lost"}},
		{"the second within a minute", time.Minute, false, unlit, []string{"a_group_power_lost"}},
		{"the second within a minute, and somebody is on it", time.Minute, true, unlit, []string{"a_group_power_lost", "b_group_power_lost"}},
		{"the second an hour later is news", time.Hour, false, unlit, []string{"a_group_power_lost", "b_group_power_lost"}},
		{"nobody sees either", 0, false, unseen, []string{"a_circulation_unseen"}},
		{"nobody sees the second any more an hour later", time.Hour, false, unseen, []string{"a_circulation_unseen", "b_circulation_unseen"}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			set, err := site.Settings{Groups: []site.Group{{ID: "a", Pumps: []string{"gp-1"}}, {ID: "b", Pumps: []string{"gp-2"}}}}.Checked()
			if err != nil {
				t.Fatal(err)
			}
			state, _ := site.Start(set, nil)
			b := site.Batch{At: drivers.Instant{Wall: noon, Boot: "a", SinceBoot: time.Hour, Synchronized: true}}
			var calls, headlines []string
			live := func(d time.Duration, first, second site.Pump) {
				b.Groups = [][]site.Pump{{first}, {second}}
				for range int(d / time.Second) {
					for _, e := range site.Step(set, state, &b) {
						if e.Notify == alarm.Now && e.Kind != alarm.Escalated {
							calls = append(calls, e.Alarm)
							headlines = append(headlines, alarm.Render(*e, alarm.Site{Name: "Ridge", Group: e.Group}).Headline)
						}
					}
					b.At.SinceBoot, b.At.Wall, b.Commands = b.At.SinceBoot+time.Second, b.At.Wall.Add(time.Second), nil
				}
			}
			live(time.Minute, runs, runs)
			live(tt.later, tt.dark, runs)
			if tt.ack {
				b.Commands = []drivers.Command{{User: "m.example", Verb: drivers.Acknowledge, Alarm: "a_group_power_lost"}}
			}
			live(20*time.Minute, tt.dark, tt.dark)
			if !slices.Equal(calls, tt.want) {
				t.Errorf("calls %q, want %q", calls, tt.want)
			}
			if tt.name == "both at once" && headlines[0] != lead {
				t.Errorf("said %s\nwant %s", headlines[0], lead)
			}
			live(5*time.Minute, runs, tt.dark) // power returns to the first: the second is on its own
			if last := calls[len(calls)-1]; last[:2] != "b_" {
				t.Errorf("calls %q, and none for the group that is left", calls)
			}
		})
	}
}
