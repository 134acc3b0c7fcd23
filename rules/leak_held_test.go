package rules_test

import (
	"testing"
	"time"

	"pumpside/drivers"
	"pumpside/rules"
	"pumpside/rules/service"
	"pumpside/simulator"
)

// TestTheVerdictTellsTheLeakInNumbers learns a simulated pump, lets a discharge
// valve of cylinder 2 leak a fifth of its flow, records new valves, and looks
// at what is left of the leak, by all orders and the flow meter.
func TestTheVerdictTellsTheLeakInNumbers(t *testing.T) {
	if testing.Short() {
		t.Skip("plays ten hours of pressure")
	}
	for _, tt := range []struct {
		name     string
		left     float64 // of the leak
		verdict  string
		from, to float64 // where the size told since must lie
	}{{"the valve is tight", 0, "repaired", 0, 0.02}, {"the wrong valve was changed", 0.2, "not_repaired", 0.1, 0.4}} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			s := site(3, 300)
			s.Running = true
			b := newBench(t, s, sampling{poll: 20 * time.Millisecond, jitter: 0.2, half: 3 * time.Millisecond, index: true, meter: true, fastFor: 9 * time.Second, fastEach: time.Minute})
			b.set.Tasks = []service.Task{{Name: "valves", Kind: service.Valves, RunTime: 4000 * time.Hour, DueSoon: 0.9, Overdue: 1.1}}
			b.state, _ = rules.Start(b.checked(), nil)
			b.event(simulator.Event{At: 40 * time.Second, Do: simulator.Stop}, simulator.Event{At: 70 * time.Second, Do: simulator.Start})
			leak := simulator.Event{At: 40 * time.Minute, Do: simulator.DischargeValveLeak, Cylinder: 1, Size: 0.2}
			b.event(leak)
			b.run(80*time.Minute, nil)
			b.batch.Commands = []drivers.Command{{ID: "1", User: "d.moss", Verb: drivers.RecordService, Task: "valves"}}
			b.step()
			b.batch.Commands = nil
			leak.At, leak.Size = 80*time.Minute+time.Second, tt.left
			b.event(leak)
			b.run(7*time.Hour, nil)
			view := b.state.Snapshot(b.set).Repair
			if view.Verdict != tt.verdict {
				t.Errorf("verdict %q, want %q", view.Verdict, tt.verdict)
			}
			told := map[string]float64{}
			for _, e := range view.Numbers {
				told[e.Key] = e.Quantity.Value
			}
			if x := told["leak_since"]; !(x > tt.from && x < tt.to) || !(told["leak_failing"] > 0.1 && told["leak_failing"] < 0.4) {
				t.Errorf("leak of 20 %% told as %.3f before and %.3f since, want %v to %v", told["leak_failing"], x, tt.from, tt.to)
			}
		})
	}
}

// checked makes changed settings ready.
func (b *bench) checked() *rules.Settings {
	set, err := b.set.Checked()
	if err != nil {
		b.t.Fatal(err)
	}
	b.set = set
	return set
}
