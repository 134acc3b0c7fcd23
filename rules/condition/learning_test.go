package condition_test

import (
	"math/rand/v2"
	"testing"
	"time"

	"pumpside/drivers"
	"pumpside/rules/condition"
)

// A learner feeds a State windows of five seconds.
type learner struct {
	s   condition.State
	set condition.Settings
	at  drivers.Instant
	rng *rand.Rand
}

func newLearner() *learner {
	return &learner{
		set: condition.DefaultSettings(condition.Bands{Speed: 15, Pressure: 1e6, Glycol: 15, Oil: 15}),
		at:  drivers.Instant{Boot: "b", SinceBoot: time.Hour}, rng: rand.New(rand.NewPCG(1, 2)),
	}
}

// pass lets time go by in a band; shift is what the indicators are off by, and
// those left out are not seen.
func (l *learner) pass(minutes int, band condition.Band, shift float64) {
	l.windows(minutes*12, band, shift)
}

func (l *learner) windows(n int, band condition.Band, shift float64, out ...condition.Indicator) {
	for range n {
		l.at.SinceBoot += 5 * time.Second
		var list []condition.Observation
		for _, i := range []condition.Indicator{"discharge_order_1", "discharge_order_2", "discharge_order_4", "discharge_order_5"} {
			seen := true
			for _, o := range out {
				seen = seen && i != o
			}
			if seen {
				list = append(list, condition.Observation{Indicator: i, Value: complex(100+shift+l.rng.NormFloat64(), l.rng.NormFloat64()), Vector: true, Joined: true, Variance: 1, Least: 0.5})
			}
		}
		l.s.Observe(&l.set, l.at, band, list)
	}
}

func (l *learner) raised(band condition.Band) bool {
	for _, c := range l.s.Changes(&l.set, band, nil) {
		if c.Raised {
			return true
		}
	}
	return false
}

var bandA, bandB = condition.Band{Speed: 20}, condition.Band{Speed: 18}

// One order that is missing in one window stays out of step with the others,
// and is left out of what they show together.
func TestAnOrderThatIsMissedOnceStaysInStep(t *testing.T) {
	l := newLearner()
	l.pass(20, bandA, 0)
	if len(l.s.Bands[0].Joint.Blocks) == 0 {
		t.Fatal("nothing is judged together")
	}
	l.at.SinceBoot += 5 * time.Minute // stopped for a while: all begin a block at the next window
	l.s.Advance(&l.set, l.at)
	l.windows(1, bandA, 0, "discharge_order_5")
	l.pass(30, bandA, 0)
	for i, b := range l.s.Bands[0].Joint.Blocks {
		if len(b) != 4 {
			t.Errorf("block %d before the last has %d orders, want 4", len(l.s.Bands[0].Joint.Blocks)-i, len(b))
		}
	}
}

// An indicator that is not seen any more, as by a meter that was taken away,
// keeps nothing else from being learned.
func TestWhatIsSeenNoMoreHindersNoLearning(t *testing.T) {
	l := newLearner()
	l.pass(20, bandA, 0)
	meter := condition.Observation{Indicator: condition.VolumetricEfficiency, Least: 0.005}
	for i := range 40 * 12 {
		l.at.SinceBoot += 5 * time.Second
		meter.Value = complex(0.95+0.002*l.rng.NormFloat64(), 0)
		if i > 30*12 {
			meter.Value -= 0.3
		}
		l.s.Observe(&l.set, l.at, bandA, []condition.Observation{meter})
	}
	if !l.raised(bandA) {
		t.Fatal("the meter's change is not seen")
	}
	before := l.s.Bands[0].Watches[0].Baseline.Blocks
	l.pass(24*60, bandA, 0) // without the meter
	if after := l.s.Bands[0].Watches[0].Baseline.Blocks; after == before {
		t.Errorf("the orders have learned nothing in a day, %d blocks", after)
	}
	if l.raised(bandA) {
		t.Error("what nobody sees any more still stands as changed")
	}
}

// What stands as changed in a band that the pump does not come back to keeps the
// others from learning for a day, not for ever.
func TestAChangeLeftBehindBlindsNoBandForEver(t *testing.T) {
	l := newLearner()
	l.pass(60, bandA, 0)
	l.pass(30, bandA, 10)
	l.pass(23*60, bandB, 0)
	learned := func() (n int) {
		for _, c := range l.s.Changes(&l.set, bandB, nil) {
			if c.Learned {
				n++
			}
		}
		return n
	}
	if n := learned(); n > 0 {
		t.Errorf("%d indicators were learned within the day", n)
	}
	l.pass(2*60, bandB, 0)
	if n := learned(); n < 4 {
		t.Errorf("%d indicators were learned after the day, want all", n)
	}
	if l.raised(bandB) {
		t.Error("what was learned after the day looks changed")
	}
	l.pass(60, bandB, 10)
	if !l.raised(bandB) {
		t.Error("a change is not found in the band that was learned late")
	}
}

// What stands exactly still while it is learned has no scatter; it is judged all
// the same, and its change is not learned.
func TestANumberThatStoodStillIsJudged(t *testing.T) {
	l := newLearner()
	feed := func(minutes int, x float64) {
		for range 60 * minutes {
			l.at.SinceBoot += time.Second
			l.s.Observe(&l.set, l.at, bandA, []condition.Observation{condition.Number(condition.SuctionPressure, x, 4e3)})
		}
	}
	feed(60, 152e3)
	if l.raised(bandA) {
		t.Error("what stands still looks changed")
	}
	feed(30, 90e3)
	if c := l.s.Changes(&l.set, bandA, nil)[0]; !c.Raised || real(c.Baseline) != 152e3 {
		t.Errorf("%+v, want 152 kPa learned and a change raised", c)
	}
}

// A band that the pump comes to for the first time while it is known to have
// changed must not take the change for health.
func TestAChangeIsNotLearnedInTheNextBand(t *testing.T) {
	l := newLearner()
	l.pass(60, bandA, 0)
	l.pass(30, bandA, 10)
	if !l.raised(bandA) {
		t.Fatal("not found in the first band")
	}
	l.pass(60, bandB, 10)
	for _, c := range l.s.Changes(&l.set, bandB, nil) {
		if c.Learned && !c.Raised {
			t.Errorf("%s is called unchanged, learned as %.0f", c.Indicator, real(c.Baseline))
		}
	}
}
