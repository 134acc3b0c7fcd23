package rules_test

import (
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"pumpside/drivers"
	"pumpside/rules"
	"pumpside/rules/diagnosis"
	"pumpside/simulator"
)

// fast is a warm pump polled at 50 Hz for 20 seconds of every minute.
var fast = sampling{poll: 20 * time.Millisecond, jitter: 0.2, half: 3 * time.Millisecond, index: true, meter: true, fastFor: 20 * time.Second, fastEach: time.Minute}

func warm(seed uint64) simulator.Settings {
	s := simulator.DefaultSettings(seed)
	s.Running = true
	return s
}

// A leak is found within minutes, advises no visit for six hours, and does then,
// with causes and numbers.
func TestALeakAdvisesAVisitAfterSixHours(t *testing.T) {
	b := newBench(t, warm(5), fast)
	b.run(20*time.Minute, nil)
	b.event(simulator.Event{At: 20 * time.Minute, Do: simulator.DischargeValveLeak, Cylinder: 1, Size: 0.15})
	at, found := b.run(time.Hour, func(v *rules.ConditionView) bool { return len(v.Changed) > 0 })
	if !found || at > 35*time.Minute {
		t.Fatalf("found %v at %v", found, at)
	}
	b.run(at+5*time.Minute, nil)
	b.state.Observed.OneHead.Stood = 5*time.Hour + 50*time.Minute // hours pass
	b.run(at+10*time.Minute, nil)
	if len(b.visits) > 0 {
		t.Errorf("advised before six hours: %v", b.visits)
	}
	b.run(at+20*time.Minute, nil)
	v := b.state.Snapshot(b.set).Condition
	if len(b.visits) == 0 || !strings.HasPrefix(b.visits[0], "loss_in_one_head") || !v.Visit || v.OneHead < 0.5 {
		t.Errorf("visits %v, one head %.2f", b.visits, v.OneHead)
	}
	if v.FromFlow.Low > 0.15 || v.FromFlow.High < 0.15 {
		t.Errorf("leak by the meter %.3f, want 0.15 within", v.FromFlow)
	}
}

// After a service nothing is concluded for half an hour, then it is learned anew.
func TestServiceStartsLearningAgain(t *testing.T) {
	b := newBench(t, warm(6), fast)
	b.run(20*time.Minute, nil)
	if !b.state.Snapshot(b.set).Condition.Learned {
		t.Fatal("not learned after 20 minutes")
	}
	b.state.Observed.Line.Points = []diagnosis.LinePoint{{Hertz: 5, Re: 1, Error: 0.1, Turns: 5}}
	b.begin(20*time.Minute, 0)
	b.batch.Commands = []drivers.Command{{
		ID: "1", User: "anna", Verb: drivers.RecordService, Service: &drivers.ServiceEntry{Note: "new motor cable", ElectricalWork: true},
	}}
	rules.Step(b.set, b.state, &b.batch)
	b.batch.Commands = nil
	b.run(45*time.Minute, nil)
	if b.state.Snapshot(b.set).Condition.Learned {
		t.Error("learned within half an hour of the service")
	}
	b.run(70*time.Minute, nil)
	if v := b.state.Snapshot(b.set).Condition; !v.Learned {
		t.Error("not learned 50 minutes after the service")
	}
	if !b.state.Observed.Unconfirmed || len(b.state.Observed.Line.Points) != 1 {
		t.Errorf("unconfirmed %v, %d points of the line; want naming withheld, the line kept", b.state.Observed.Unconfirmed, len(b.state.Observed.Line.Points))
	}
}

// What was learned outlives the process.
func TestWhatWasLearnedIsSaved(t *testing.T) {
	b := newBench(t, warm(7), fast)
	b.run(20*time.Minute, nil)
	text, err := b.state.Marshal()
	if err != nil {
		t.Fatal(err)
	}
	saved, err := rules.Unmarshal(text)
	if err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff(b.state.Observed, saved.Observed); d != "" {
		t.Errorf("observed (-before +after):\n%s", d)
	}
	t.Logf("%d bytes of state", len(text))
	b.state, _ = rules.Start(b.set, saved)
	b.run(23*time.Minute, nil)
	if v := b.state.Snapshot(b.set).Condition; !v.Learned || v.Blocks < 12 || len(v.Changed) > 0 {
		t.Errorf("after a restart: %+v", v)
	}
}

// A pump without a known geometry is not watched and has no such alarms.
func TestAPumpWithoutGeometryIsNotWatched(t *testing.T) {
	r := newRig(t, nil)
	r.pass(time.Minute)
	if r.state.Snapshot(r.set).Condition != nil {
		t.Error("its condition is watched")
	}
	for _, d := range r.set.Definitions() {
		if slices.Contains([]string{"loss_in_one_head", "finding", "efficiency_low"}, d.Name) {
			t.Errorf("it has the alarm %s", d.Name)
		}
	}
}

func TestWatchingAllocatesNothing(t *testing.T) {
	b := newBench(t, warm(8), tcp50)
	b.run(2*time.Minute, nil)
	at, n := b.next, 0
	values := make([]float64, 4096)
	for i := range values {
		values[i], _ = b.skid.Value("discharge_pressure", at+time.Duration(i)*20*time.Millisecond)
	}
	allocations := testing.AllocsPerRun(2000, func() {
		b.begin(at+time.Duration(n)*20*time.Millisecond, 3*time.Millisecond)
		b.batch.Readings = append(b.batch.Readings, drivers.Reading{Signal: drivers.DischargePressure, Value: values[n%4096] * 1e3, Quality: drivers.Good})
		rules.Step(b.set, b.state, &b.batch)
		n++
	})
	if allocations > 0 {
		t.Errorf("%v allocations a sample", allocations)
	}
}

// BenchmarkPressure50Hz is one second of a pressure polled at 50 Hz.
func BenchmarkPressure50Hz(b *testing.B) {
	p := newBench(b, warm(9), tcp50)
	p.run(time.Minute, nil)
	at, n := p.next, 0
	values := make([]float64, 4096)
	for i := range values {
		values[i], _ = p.skid.Value("discharge_pressure", at+time.Duration(i)*20*time.Millisecond)
	}
	b.ReportAllocs()
	for b.Loop() {
		for range 50 {
			p.begin(at+time.Duration(n)*20*time.Millisecond, 3*time.Millisecond)
			p.batch.Readings = append(p.batch.Readings, drivers.Reading{Signal: drivers.DischargePressure, Value: values[n%4096] * 1e3, Quality: drivers.Good})
			if n%50 == 0 {
				p.batch.Readings = append(p.batch.Readings, drivers.Reading{Signal: drivers.MotorSpeed, Value: 1450, Quality: drivers.Good})
			}
			rules.Step(p.set, p.state, &p.batch)
			n++
		}
	}
	b.ReportMetric(100*b.Elapsed().Seconds()/float64(b.N), "%-of-a-core")
}
