package condition_test

import (
	"encoding/json"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"pumpside/drivers"
	"pumpside/drivers/quantity"
	"pumpside/rules/condition"
	"pumpside/rules/orders"
	"pumpside/rules/pump"
)

// A site feeds one vector indicator, four windows a minute, in kPa.
type site struct {
	set   condition.Settings
	state condition.State
	at    drivers.Instant
	band  condition.Band
	truth complex128
	noise float64 // of a window, per part
	rng   *rand.Rand
}

var first = condition.OrderIndicator(pump.Discharge, 1)

func newSite(seed uint64) *site {
	return &site{
		set: condition.DefaultSettings(condition.Bands{Speed: 15, Pressure: 1e6, Glycol: 15, Oil: 15}),
		at:  drivers.Instant{Boot: "a"}, truth: cmplx.Rect(10, 0.7), noise: 3,
		rng: rand.New(rand.NewPCG(seed, 11)),
	}
}

// run feeds some minutes and gives the minute at which the change was raised,
// 0 if it was not.
func (s *site) run(minutes int) (raised int) {
	for m := 1; m <= minutes; m++ {
		for range 4 {
			v := s.truth + complex(s.noise*s.rng.NormFloat64(), s.noise*s.rng.NormFloat64())
			s.state.Observe(&s.set, s.at, s.band, []condition.Observation{{Indicator: first, Value: v, Vector: true, Variance: s.noise * s.noise}})
			s.at.SinceBoot += 15 * time.Second
		}
		s.state.Advance(&s.set, s.at)
		if raised == 0 && s.change().Raised {
			raised = m
		}
	}
	return raised
}

func (s *site) change() condition.Change {
	return s.state.Changes(&s.set, s.band, nil)[0]
}

// After one healthy hour, a change of 4.4 kPa of a vector of 10 kPa, seen in
// windows of 3 kPa, is found in about five minutes whatever its direction, even
// where the amplitude stays as it was. (No test with that run length does it
// in less than 2·ln(10 years)/2.9² = 3.7 on average: Lorden 1971.)
func TestAVectorChangeIsFoundInAnyDirection(t *testing.T) {
	total := 0
	for i := range 16 {
		s := newSite(uint64(i))
		if at := s.run(60); at != 0 {
			t.Fatalf("run %d: raised in the healthy hour, minute %d", i, at)
		}
		before := s.truth
		s.truth += cmplx.Rect(4.4, float64(i)*math.Pi/8)
		if i == 0 { // turn it instead: same amplitude
			s.truth = before * cmplx.Rect(1, 0.44)
		}
		at := s.run(20)
		if total += at; at == 0 || at > 12 {
			t.Errorf("run %d: raised after %d minutes, want 12 at most", i, at)
		}
		s.run(10)
		c := s.change()
		if e := cmplx.Abs(c.Delta - (s.truth - before)); e > 4*c.Sigma || c.Sigma > 0.6 {
			t.Errorf("run %d: change %.2f ± %.2f, off by %.2f", i, c.Delta, c.Sigma, e)
		}
	}
	if mean := float64(total) / 16; mean > 6 {
		t.Errorf("raised after %.1f minutes on average, want 6", mean)
	}
}

func TestASteadyPumpStaysQuiet(t *testing.T) {
	s := newSite(99)
	if at := s.run(60 * 24 * 20); at != 0 {
		t.Errorf("a change was raised in minute %d of 20 quiet days", at)
	}
	if c := s.change(); cmplx.Abs(c.Baseline-s.truth) > 0.1 || c.Blocks != s.set.LearnBlocks {
		t.Errorf("baseline %.3f from %d blocks, want %.3f from %d", c.Baseline, c.Blocks, s.truth, s.set.LearnBlocks)
	}
}

// The stated run length holds: with one of 300 blocks, changes of a pump that
// does not change come about that often once much has been learned.
func TestFalseChangesComeAsRarelyAsStated(t *testing.T) {
	s := newSite(5)
	s.set.LearnBlocks = 3000
	s.run(3000)
	learned := s.state
	s.set.RunLength = 300
	total, n := 0, 60
	for i := range n {
		text, _ := json.Marshal(learned)
		s.state = condition.State{}
		if err := json.Unmarshal(text, &s.state); err != nil {
			t.Fatal(err)
		}
		for j := range s.state.Bands[0].Watches[0].Arms {
			s.state.Bands[0].Watches[0].Arms[j] = condition.Arm{}
		}
		s.rng = rand.New(rand.NewPCG(uint64(i), 3))
		minutes := 0
		for minutes < 5000 && s.run(1) == 0 {
			minutes++
		}
		total += minutes
	}
	if mean := float64(total) / float64(n); mean < 200 || mean > 900 {
		t.Errorf("false changes every %.0f blocks, stated 300 at least on average", mean)
	}
}

func TestABadDayInTheLearningTimeDoesNotMoveTheBaseline(t *testing.T) {
	s := newSite(7)
	day := 24 * 60
	s.run(2 * day)
	good := s.truth
	s.truth += 15
	s.run(day)
	s.truth = good
	s.run(4 * day)
	if c := s.change(); cmplx.Abs(c.Baseline-good) > 0.3 || c.Raised {
		t.Errorf("baseline %.2f, want %.2f; raised %v", c.Baseline, good, c.Raised)
	}
}

// Even when nothing tells that the day is bad: learning alone, without a
// judgement, takes the middle of the days.
func TestTheMiddleOfTheDaysIsLearned(t *testing.T) {
	s := newSite(8)
	s.set.MinBlocks = s.set.LearnBlocks
	day := 24 * 60
	good := s.truth
	for d := range 7 {
		if s.truth = good; d == 3 {
			s.truth = good + 15
		}
		s.run(day)
	}
	if c := s.change(); cmplx.Abs(c.Baseline-good) > 0.3 {
		t.Errorf("baseline %.2f, want %.2f", c.Baseline, good)
	}
}

func TestAFaultIsNotLearnedByAndBy(t *testing.T) {
	s := newSite(9)
	s.run(60)
	good := s.change().Baseline
	s.truth += 4
	s.run(10 * 24 * 60)
	if c := s.change(); !c.Raised || cmplx.Abs(c.Baseline-good) > 1 {
		t.Errorf("after ten days raised %v, baseline moved from %.2f to %.2f", c.Raised, good, c.Baseline)
	}
	s.truth -= 4
	s.run(60)
	if c := s.change(); c.Raised {
		t.Errorf("still raised an hour after it went away, score %.2f", c.Score)
	}
}

// A pump seen in rare windows is judged from eight blocks on; when it then
// changes and windows come faster, it is still judged.
func TestAnIndicatorThatWasJudgedStaysJudged(t *testing.T) {
	s := newSite(5)
	block := func(gap time.Duration) {
		v := s.truth + complex(s.noise*s.rng.NormFloat64(), s.noise*s.rng.NormFloat64())
		s.state.Observe(&s.set, s.at, s.band, []condition.Observation{{Indicator: first, Value: v, Vector: true, Variance: s.noise * s.noise}})
		s.at.SinceBoot += gap
		s.state.Advance(&s.set, s.at)
	}
	for range 9 {
		block(10 * time.Minute)
	}
	if c := s.change(); !c.Learned || c.Blocks >= s.set.MinBlocks {
		t.Fatalf("rare blocks: %+v, want it learned from fewer than %d", c, s.set.MinBlocks)
	}
	s.truth += 60
	block(10 * time.Minute)
	for i := range 60 {
		block(time.Minute)
		if c := s.change(); !c.Learned {
			t.Fatalf("fast block %d: %+v, not judged any more", i+1, c)
		}
	}
	if c := s.change(); !c.Raised {
		t.Errorf("%+v, want it raised", c)
	}
}

func TestAnotherBandHasItsOwnBaseline(t *testing.T) {
	s := newSite(10)
	s.run(60)
	s.band = s.set.Bands.Of(condition.Operating{Speed: 320, Pressure: 7e6, Glycol: 60, Oil: 60})
	s.truth *= 2
	if at := s.run(11); at != 0 || s.change().Learned {
		t.Errorf("an unknown band is judged in minute %d: %+v", at, s.change())
	}
	s.run(60)
	if c := s.change(); !c.Learned || c.Raised {
		t.Errorf("the band is not learned: %+v", c)
	}
	s.state.Relearn()
	if list := s.state.Changes(&s.set, s.band, nil); len(list) != 0 {
		t.Errorf("after relearning there is %v", list)
	}
}

func TestBandsAreCentredOnMultiplesOfTheirWidth(t *testing.T) {
	b := condition.DefaultBands(pump.Geometry{RatedSpeed: 300, RatedPressure: 10e6})
	for _, tt := range []struct {
		name string
		o    condition.Operating
		want condition.Band
	}{
		{"rated", condition.Operating{Speed: 300, Pressure: 10e6, Glycol: 90, Oil: 60}, condition.Band{Speed: 20, Pressure: 10, Glycol: 6, Oil: 4}},
		{"two per cent less is the same", condition.Operating{Speed: 294, Pressure: 9.8e6, Glycol: 84, Oil: 55}, condition.Band{Speed: 20, Pressure: 10, Glycol: 6, Oil: 4}},
		{"three per cent less is not", condition.Operating{Speed: 291, Pressure: 10e6, Glycol: 90, Oil: 60}, condition.Band{Speed: 19, Pressure: 10, Glycol: 6, Oil: 4}},
		{"no temperatures", condition.Operating{Speed: 300, Pressure: 10e6, Glycol: condition.None, Oil: condition.None}, condition.Band{Speed: 20, Pressure: 10, Glycol: condition.Unmeasured, Oil: condition.Unmeasured}},
	} {
		if got := b.Of(tt.o); got != tt.want {
			t.Errorf("%s: %+v, want %+v", tt.name, got, tt.want)
		}
	}
}

// What is remembered is bounded whatever the pump does.
func TestOnlySoManyBandsAreRemembered(t *testing.T) {
	s := newSite(1)
	for i := range 200 {
		s.band.Speed = i
		s.run(1)
	}
	if n := len(s.state.Bands); n != 48 {
		t.Errorf("%d bands, want 48", n)
	}
	if list := s.state.Changes(&s.set, condition.Band{Speed: 199}, nil); len(list) != 1 {
		t.Errorf("the last band is forgotten")
	}
}

// Stored and loaded in the middle, everything goes on as if it were not.
func TestTheStateSurvivesItsTextForm(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		seed := rapid.Uint64().Draw(t, "seed")
		cutAt := rapid.IntRange(1, 40).Draw(t, "cut")
		a, b := newSite(seed), newSite(seed)
		a.run(cutAt)
		b.run(cutAt)
		text, err := json.Marshal(b.state)
		if err != nil {
			t.Fatal(err)
		}
		b.state = condition.State{}
		if err := json.Unmarshal(text, &b.state); err != nil {
			t.Fatal(err)
		}
		a.run(20)
		b.run(20)
		if diff := cmp.Diff(a.state, b.state); diff != "" {
			t.Error(diff)
		}
	})
}

func TestValuesThatAreNoNumbersAreNotLearned(t *testing.T) {
	s := newSite(1)
	for range 100 {
		s.state.Observe(&s.set, s.at, s.band, []condition.Observation{
			condition.Number(condition.VolumetricEfficiency, math.NaN(), 0),
			{Indicator: first, Value: cmplx.Inf(), Vector: true},
		})
		s.at.SinceBoot += time.Minute
	}
	if list := s.state.Changes(&s.set, s.band, nil); len(list) != 0 {
		t.Errorf("got %v", list)
	}
}

// 5 % of the flow lost, by a meter of 1 % noise read once a second: found
// within the hour.
func TestALossOfEfficiencyIsFound(t *testing.T) {
	g := pump.Geometry{Cylinders: 3, Bore: 0.0254, Stroke: 0.0508}
	s := newSite(3)
	feed := func(minutes int, eff float64) (raised int) {
		for m := 1; m <= minutes; m++ {
			for range 60 {
				flow := 3.8611e-4 * eff * (1 + 0.01*s.rng.NormFloat64()) // 23.1667 L/min at 300 rpm
				if o, ok := condition.FromFlow(g, quantity.CubicMetersPerSecond(flow), 300); ok {
					s.state.Observe(&s.set, s.at, s.band, []condition.Observation{o})
				}
				s.at.SinceBoot += time.Second
			}
			s.state.Advance(&s.set, s.at)
			if raised == 0 && s.change().Raised {
				raised = m
			}
		}
		return raised
	}
	if at := feed(60, 0.92); at != 0 {
		t.Fatalf("raised in the healthy hour, minute %d", at)
	}
	if at := feed(60, 0.92*0.95); at == 0 || at > 10 {
		t.Errorf("raised after %d minutes, want 10", at)
	}
	if c := s.change(); math.Abs(real(c.Delta)+0.046) > 0.002 {
		t.Errorf("change %.4f, want −0.046", real(c.Delta))
	}
}

func TestFlowThatNoPumpCanGiveIsNotObserved(t *testing.T) {
	g := pump.Geometry{Cylinders: 3, Bore: 0.0254, Stroke: 0.0508}
	for _, flow := range []float64{1e-3, math.NaN()} {
		if o, ok := condition.FromFlow(g, quantity.CubicMetersPerSecond(flow), 300); ok {
			t.Errorf("flow %v gives %v", flow, o)
		}
	}
	if o, ok := condition.FromFlow(g, 1e-4, 0); ok {
		t.Errorf("a pump at rest gives %v", o)
	}
}

func TestWindowsWithMovingSpeedAreNotObserved(t *testing.T) {
	if list := condition.FromOrders(nil, pump.Discharge, &orders.Result{Spread: 0.02}, 6, 0); len(list) != 0 {
		t.Errorf("got %v", list)
	}
}

// Fast windows give a block every five minutes. The pump is judged within its
// first hour all the same, and the run length stays what it is in time.
func TestRareBlocksAreJudgedWithinTheHour(t *testing.T) {
	set := condition.DefaultSettings(condition.Bands{})
	var s condition.State
	learned := time.Duration(0)
	for at := time.Minute; learned == 0 && at < 2*time.Hour; at += 5 * time.Minute {
		now := drivers.Instant{Boot: "a", SinceBoot: at}
		s.Observe(&set, now, condition.Band{}, []condition.Observation{{Indicator: condition.OrderIndicator(pump.Discharge, 1), Value: complex(float64(at%7), 1), Vector: true}})
		for _, c := range s.Changes(&set, condition.Band{}, nil) {
			if c.Learned {
				learned = at
			}
		}
	}
	if learned == 0 || learned > time.Hour {
		t.Errorf("judged after %v, want within the hour", learned)
	}
}
