package service_test

import (
	"fmt"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"pumpside/rules/pump"
	"pumpside/rules/service"
)

func days(n float64) time.Time { return spring.Add(time.Duration(n * 24 * float64(time.Hour))) }

// due is a candidate that is ripe and falls due after so many days.
func due(task service.Task, at pump.Position, ripe, due float64) service.Candidate {
	return service.Candidate{Pump: "gp-1", Task: &task, Position: at, Used: 0.8, By: service.ByRunTime, Window: service.Window{
		Ripe: days(ripe), Due: service.Forecast{Early: days(due), Median: days(due), Late: days(due)}, Last: days(due * 1.1),
	}}
}

var (
	oilTask   = service.Task{Name: "oil", Kind: service.Oil, Oil: 12, Minutes: 45}
	valveTask = service.Task{Name: "valves", Kind: service.Valves}
	sealTask  = service.Task{Name: "shaft_seal", Kind: service.ShaftSeal}
	rinseTask = service.Task{Name: "wash"}
)

// told writes a plan in one line a visit.
func told(p service.Plan) (lines []string) {
	write := func(jobs []service.Job) (text string) {
		for _, j := range jobs {
			text += " " + j.Task
			for _, at := range j.At {
				if at.Position != (pump.Position{}) {
					text += fmt.Sprintf("(%v)", at.Position)
				}
			}
		}
		return text
	}
	for _, v := range p.Visits {
		line := fmt.Sprintf("day %.0f:%s", v.On.Sub(spring).Hours()/24, write(v.Jobs))
		if len(v.Offers) > 0 {
			line += "; offered:" + write(v.Offers)
		}
		lines = append(lines, line)
	}
	if len(p.Undated) > 0 {
		lines = append(lines, "undated:"+write(p.Undated))
	}
	return lines
}

func TestPlan(t *testing.T) {
	one := pump.Position{Cylinder: 1}
	unknown := due(rinseTask, pump.Position{}, 0, 0)
	unknown.Window, unknown.Used = service.Window{Due: service.Forecast{Why: service.NoHistory}}, 0.9
	soon := unknown
	soon.Window.Due.Soonest = days(6)
	tests := []struct {
		name string
		in   []service.Candidate
		want []string
	}{
		{"what is ripe goes along", []service.Candidate{due(oilTask, pump.Position{}, 5, 20), due(sealTask, pump.Position{}, 15, 60)}, []string{"day 20: oil shaft_seal"}},
		{"what is not ripe waits", []service.Candidate{due(oilTask, pump.Position{}, 5, 20), due(sealTask, pump.Position{}, 25, 60)}, []string{"day 20: oil", "day 60: shaft_seal"}},
		{"what is overdue is due today", []service.Candidate{due(oilTask, pump.Position{}, -9, -4)}, []string{"day 0: oil"}},
		{"beyond the horizon is not planned", []service.Candidate{due(oilTask, pump.Position{}, 60, 120)}, nil},
		{
			"open manifolds offer the valves there",
			[]service.Candidate{due(diaphragm, one, 0, 10), due(valveTask, pump.Position{Cylinder: 1, Side: pump.Suction}, 80, 200), due(valveTask, pump.Position{Cylinder: 2, Side: pump.Suction}, 80, 200)},
			[]string{"day 10: diaphragms(cylinder 1); offered: valves(cylinder 1 suction)"},
		},
		{"without history the soonest date plans, and takes along what is due with it", []service.Candidate{soon, due(oilTask, pump.Position{}, 0, 20)}, []string{"day 6: oil wash"}},
		{"no history is said", []service.Candidate{unknown}, []string{"undated: wash"}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			if d := cmp.Diff(tt.want, told(service.MakePlan(tt.in, spring, 90*24*time.Hour))); d != "" {
				t.Errorf("plan (-want +got):\n%s", d)
			}
		})
	}
}

func TestAVisitAddsUp(t *testing.T) {
	v := service.MakePlan([]service.Candidate{due(oilTask, pump.Position{}, 0, 20), due(sealTask, pump.Position{}, 15, 60)}, spring, 90*24*time.Hour).Visits[0]
	if v.Minutes != 45+120 || v.Oil != 12 || !v.Opens {
		t.Errorf("visit of %v min, %v L, opens %v", v.Minutes, v.Oil, v.Opens)
	}
}

// TestPlansWasteNothingAndMissNothing: every candidate that falls due before
// the horizon is on exactly one visit, not after it falls due and not before it
// is ripe; and each visit is there because something falls due on it.
func TestPlansWasteNothingAndMissNothing(t *testing.T) {
	const horizon = 100.0
	rapid.Check(t, func(t *rapid.T) {
		var in []service.Candidate
		for i := range rapid.IntRange(1, 12).Draw(t, "candidates") {
			last := rapid.Float64Range(-20, 150).Draw(t, "due")
			ripe := last - rapid.Float64Range(0, 60).Draw(t, "ripe before")
			in = append(in, due(service.Task{Name: fmt.Sprint("task-", i)}, pump.Position{}, ripe, last))
		}
		on := map[string]time.Time{}
		for _, v := range service.MakePlan(in, spring, horizon*24*time.Hour).Visits {
			reason := false
			for _, j := range v.Jobs {
				if !on[j.Task].IsZero() {
					t.Fatalf("%s is planned twice", j.Task)
				}
				on[j.Task] = v.On
				reason = reason || j.At[0].Due.Equal(v.On)
			}
			if !reason {
				t.Fatalf("nothing falls due on %v", v.On)
			}
		}
		for _, c := range in {
			at, planned := on[c.Task.Name]
			last := c.Window.Due.Median
			switch {
			case !planned && !last.After(days(horizon)):
				t.Fatalf("%s falls due on %v and is not planned", c.Task.Name, last)
			case planned && at.After(last) && !at.Equal(spring):
				t.Fatalf("%s is planned for %v but falls due on %v", c.Task.Name, at, last)
			case planned && at.Before(c.Window.Ripe):
				t.Fatalf("%s is planned for %v but ripe on %v", c.Task.Name, at, c.Window.Ripe)
			}
		}
	})
}

func TestTheSmallestKitIsTaken(t *testing.T) {
	kits := []pump.Kit{
		{Name: "valve kit", Renews: []pump.Component{pump.SuctionValve, pump.DischargeValve, pump.SeatSeal}},
		{Name: "diaphragm kit", Renews: []pump.Component{pump.Diaphragm, pump.ManifoldSeal}, PerCylinder: true},
		{Name: "full kit", Renews: []pump.Component{pump.SuctionValve, pump.DischargeValve, pump.SeatSeal, pump.Diaphragm, pump.ManifoldSeal}},
	}
	at := func(c int) pump.Position { return pump.Position{Cylinder: c} }
	tests := []struct {
		name string
		in   []service.Candidate
		want []string
	}{
		{"valves only", []service.Candidate{due(valveTask, pump.Position{}, 0, 1)}, []string{"1 valve kit"}},
		{"two diaphragms", []service.Candidate{due(diaphragm, at(1), 0, 1), due(diaphragm, at(3), 0, 1)}, []string{"2 diaphragm kit"}},
		{"all diaphragms", []service.Candidate{due(service.Task{Name: "d", Kind: service.Diaphragms}, pump.Position{}, 0, 1)}, []string{"3 diaphragm kit"}},
		{"valves and one diaphragm", []service.Candidate{due(valveTask, pump.Position{}, 0, 1), due(diaphragm, at(1), 0, 1)}, []string{"1 valve kit", "1 diaphragm kit"}},
		{"valves and all diaphragms", []service.Candidate{due(valveTask, pump.Position{}, 0, 1), due(diaphragm, at(1), 0, 1), due(diaphragm, at(2), 0, 1), due(diaphragm, at(3), 0, 1)}, []string{"1 full kit"}},
		{"oil needs none", []service.Candidate{due(oilTask, pump.Position{}, 0, 1)}, nil},
		{"no kit has a shaft seal", []service.Candidate{due(sealTask, pump.Position{}, 0, 1)}, []string{"missing shaft_seal"}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			v := service.MakePlan(tt.in, spring, 90*24*time.Hour).Visits[0]
			loads, missing := service.Kits(v.Jobs, kits, 3)
			var got []string
			for _, l := range loads {
				got = append(got, fmt.Sprint(l.Quantity, " ", l.Kit.Name))
			}
			for _, c := range missing {
				got = append(got, "missing "+string(c))
			}
			if d := cmp.Diff(tt.want, got); d != "" {
				t.Errorf("kits (-want +got):\n%s", d)
			}
		})
	}
}
