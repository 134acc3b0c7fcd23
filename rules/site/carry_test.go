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
