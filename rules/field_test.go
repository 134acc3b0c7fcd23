package rules_test

import (
	"testing"
	"time"

	"pumpside/drivers"
	"pumpside/rules"
	"pumpside/simulator"
)

// often is windows that come more often, so that little is simulated.
func often() sampling {
	how := windows
	how.fastEach = 2 * time.Minute
	return how
}

func runningSite(seed uint64) simulator.Settings {
	s := site(seed, 300)
	s.Running = true
	return s
}

// learnedOrders counts the orders that have a baseline where the pump works.
func (b *bench) learnedOrders() (n int) {
	for _, o := range b.state.Snapshot(b.set).Condition.Orders {
		if o.Learned != nil {
			n++
		}
	}
	return n
}

// Beside a drive that tells no speed a polled pulse is the only count of turns;
// it jumps, and must not be taken for a speed that changes all the time.
func TestOrdersAreLearnedWithoutAMotorSpeed(t *testing.T) {
	how := often()
	how.frequency = true
	b := newBench(t, runningSite(1), how)
	b.run(30*time.Minute, nil)
	if n := b.learnedOrders(); n != 6 {
		t.Errorf("%d orders were learned, want 6", n)
	}
}

// A drive that tells the synchronous speed, 2.7 % over the true one, puts the
// pump near the edge between two bands by the one speed and not by the other.
func TestASpeedThatIsOffDoesNotMoveThePumpBetweenBands(t *testing.T) {
	how := often()
	how.shows = func(_ time.Duration, r *drivers.Reading) {
		if r.Signal == drivers.MotorSpeed {
			r.Value *= 1.027
		}
	}
	b := newBench(t, runningSite(1), how)
	b.event(simulator.Event{At: time.Second, Do: simulator.SetSpeed, Size: 274.5})
	b.run(40*time.Minute, nil)
	if n := b.learnedOrders(); n != 6 {
		t.Errorf("%d orders were learned, want 6", n)
	}
}

// Without an index the angle is followed from window to window. From a band
// that the pump has never worked in it comes with any of three angles.
func TestAnAngleFollowedFromANewBandIsFoundInTheKnownOne(t *testing.T) {
	for seed := uint64(1); seed <= 3; seed++ {
		b := newBench(t, runningSite(seed), tcp50)
		b.run(18*time.Minute, nil)
		b.event(simulator.Event{At: b.next + time.Second, Do: simulator.Stop},
			simulator.Event{At: b.next + 2*time.Second, Do: simulator.Cold, Size: 40},
			simulator.Event{At: b.next + 63*time.Second + time.Duration(seed)*77*time.Millisecond, Do: simulator.Start})
		b.run(b.next+4*time.Minute, nil)
		b.event(simulator.Event{At: b.next + time.Second, Do: simulator.Cold})
		b.run(b.next+10*time.Minute, nil)
		if v := b.state.Snapshot(b.set).Condition; b.learnedOrders() == 0 || len(v.Changed) > 0 {
			t.Errorf("seed %d: %d orders known, changed %v; the pump is well", seed, b.learnedOrders(), v.Changed)
		}
	}
}

// What stood when the transmitter failed is known no more.
func TestADeadTransmitterAdvisesNoVisit(t *testing.T) {
	var dead time.Duration
	how := often()
	how.meter = false
	how.shows = func(at time.Duration, r *drivers.Reading) {
		suction := r.Signal == drivers.SuctionPressure // else its blocks would end the episode
		if suction || r.Signal == drivers.DischargePressure && dead > 0 && at > dead {
			*r = drivers.Reading{Signal: r.Signal, Quality: drivers.Bad, Reason: drivers.Timeout}
		}
	}
	b := newBench(t, runningSite(1), how)
	b.run(40*time.Minute, nil)
	leak := leakOf(1, 0.2)
	leak.At = b.next + time.Second
	b.event(leak)
	_, found := b.run(b.next+30*time.Minute, func(v *rules.ConditionView) bool { return len(v.Changed) > 0 && v.OneHead > 0.6 })
	if !found {
		t.Fatal("a leak of 20 % was not found in half an hour")
	}
	dead = b.next
	b.run(b.next+8*time.Hour, nil)
	if len(b.visits) > 0 {
		t.Errorf("eight hours after the last pressure: %v", b.visits)
	}
}
