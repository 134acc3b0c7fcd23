package rules_test

import (
	"flag"
	"fmt"
	"math"
	"math/rand/v2"
	"runtime"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"pumpside/drivers/quantity"
	"pumpside/rules"
	"pumpside/rules/alarm"
	"pumpside/rules/diagnosis"
	"pumpside/simulator"
)

var book = flag.String("book", "short", "fault book: short, full (an hour or more), or a number of runs a row")

// A case is one row of the fault book: a kind of run, repeated with seeds.
type bookCase struct {
	name string
	// quick and full are the numbers of runs.
	quick, full int
	run         func(t testing.TB, seed uint64) outcome
	// good is what a run must be to count, and bar how many must; 0: printed
	// only. Every run counts unless asked says otherwise.
	good  func(outcome) bool
	asked func(outcome) bool
	bar   float64
}

// An outcome is how one run ended.
type outcome struct {
	found bool
	after time.Duration // since the fault began

	oneHead bool                 // what is wrong is a half-stroke of one head
	view    *rules.ConditionView // some minutes after it was found
	truth   alarm.Cause          // "" for none
	size    float64              // of the leak
	visits  []string             // advisories raised
	days    float64              // lived quietly
}

// probability is what was given to the true cause, with its cylinder where it
// has one, and its rank from 1.
func (o *outcome) probability() (p float64, rank int) {
	rank = len(o.view.Causes) + 1
	for i, c := range o.view.Causes {
		if c.Cause == o.truth.Cause && (c.Cylinder == 0 || c.Cylinder == o.truth.Cylinder) {
			return c.Probability, i + 1
		}
	}
	return 0, rank
}

// named is the half-stroke that was named with 70 %, if any.
func (o *outcome) named() (alarm.Cause, bool) {
	if len(o.view.Causes) == 0 {
		return alarm.Cause{}, false
	}
	c := o.view.Causes[0]
	return c, c.Probability >= 0.7 && strings.HasPrefix(c.Cause, "loss_in_") && c.Cylinder > 0
}

// A leak is a fault put into a pump that has been learned.
type plan struct {
	set      simulator.Settings
	how      sampling
	fault    simulator.Event
	within   time.Duration // of the fault's beginning
	then     time.Duration // after it was found
	restarts bool          // one stop and start before
	learn    time.Duration
}

func (p plan) live(t testing.TB) outcome {
	p.set.Running = true
	b := newBench(t, p.set, p.how)
	if p.restarts {
		b.event(simulator.Event{At: 40 * time.Second, Do: simulator.Stop}, simulator.Event{At: 70 * time.Second, Do: simulator.Start})
	}
	b.run(p.learn, nil)
	p.fault.At = p.learn
	b.event(p.fault)
	at, found := b.run(p.learn+p.within, func(v *rules.ConditionView) bool { return len(v.Changed) > 0 })
	o := outcome{found: found, after: at - p.learn, truth: truthOf(p.fault), size: p.fault.Size}
	o.oneHead = strings.HasPrefix(o.truth.Cause, "loss_in_")
	if p.then > 0 && found {
		b.run(at+p.then, nil)
	}
	o.view = b.state.Snapshot(b.set).Condition
	return o
}

func (b *bench) event(list ...simulator.Event) {
	if err := b.skid.Schedule(list...); err != nil {
		b.t.Fatal(err)
	}
}

// truthOf is the cause behind a fault; "" for one left out of the model.
func truthOf(e simulator.Event) alarm.Cause {
	switch e.Do {
	case simulator.SuctionValveLeak, simulator.PlungerLeak, simulator.OilCellRelief:
		return alarm.Cause{Cause: diagnosis.LossInDischargeHalf, Cylinder: e.Cylinder + 1}
	case simulator.DischargeValveLeak, simulator.SeatBypass:
		return alarm.Cause{Cause: diagnosis.LossInSuctionHalf, Cylinder: e.Cylinder + 1}
	case simulator.SmallHead, simulator.MakeUpStuck:
		return alarm.Cause{Cause: diagnosis.SmallHead, Cylinder: e.Cylinder + 1}
	case simulator.GassyHead, simulator.DischargeLazy:
		return alarm.Cause{Cause: diagnosis.LateHead, Cylinder: e.Cylinder + 1}
	case simulator.SpeedWobble:
		return alarm.Cause{Cause: diagnosis.SpeedWobble}
	case simulator.DampenerLost, simulator.DampenerOver:
		return alarm.Cause{Cause: diagnosis.LineChanged}
	case simulator.OilAerated:
		return alarm.Cause{Cause: diagnosis.AllHeadsLate}
	case simulator.StrainerPlugged:
		return alarm.Cause{Cause: diagnosis.SuctionStarved}
	case simulator.BypassOpen, simulator.ReliefPassing:
		return alarm.Cause{Cause: diagnosis.BypassPassing}
	case simulator.AllValvesWorn:
		return alarm.Cause{Cause: diagnosis.UniformWear}
	}
	return alarm.Cause{}
}

// leakOf is a leak of a valve drawn by the seed.
func leakOf(seed uint64, size float64) simulator.Event {
	do := simulator.SuctionValveLeak
	if seed%2 == 1 {
		do = simulator.DischargeValveLeak
	}
	return simulator.Event{Do: do, Cylinder: int(seed/2) % 3, Size: size}
}

// pipings are discharge lines, without and with a gas-charged dampener.
var pipings = []struct{ length, bore, gas float64 }{
	{16, 0.025, 0},
	{8, 0.025, 0},
	{40, 0.025, 0},
	{25, 0.032, 0},
	{10, 0.02, 0.3e-3},
	{16, 0.025, 0.25e-3},
	{30, 0.025, 0.15e-3},
	{20, 0.032, 0.4e-3},
}

// site is a pump with one of the pipings, a motion and a rated speed.
func site(seed uint64, speed quantity.RevolutionsPerMinute) simulator.Settings {
	s := simulator.DefaultSettings(1000 + seed)
	if speed != 300 {
		s.Machine = s.Machine.ForSpeed(speed)
	}
	return s
}

func variedSite(seed uint64) simulator.Settings {
	speed := []quantity.RevolutionsPerMinute{300, 250, 400}[seed/24%3]
	s := site(seed, speed)
	p := pipings[seed%8]
	s.Machine.Discharge.Length, s.Machine.Discharge.Bore = quantity.Meters(p.length), quantity.Meters(p.bore)
	if p.gas > 0 {
		s.Machine.Dampener = simulator.Dampener{Gas: quantity.CubicMeters(p.gas), Charge: 4.5e6}
	}
	s.Machine.Mechanism.Motion = simulator.Motion(seed / 8 % 3)
	return s
}

var (
	tcp50   = sampling{poll: 20 * time.Millisecond, jitter: 0.2, half: 3 * time.Millisecond}
	indexed = sampling{poll: 20 * time.Millisecond, jitter: 0.2, half: 3 * time.Millisecond, index: true}
	tcp10   = sampling{poll: 100 * time.Millisecond, jitter: 0.2, half: 3 * time.Millisecond, index: true}
	// A poll of two registers at 19200 baud: 17 characters of 11 bits, twice
	// 3.5 characters of silence and 10 ms turnaround; the drive on the same bus.
	rtu     = sampling{poll: 26 * time.Millisecond, jitter: 0.1, half: 5 * time.Millisecond, index: true, fastFor: 20 * time.Second, fastEach: 5 * time.Minute}
	windows = sampling{poll: 20 * time.Millisecond, jitter: 0.2, half: 3 * time.Millisecond, index: true, meter: true, fastFor: 20 * time.Second, fastEach: 5 * time.Minute}
	meter   = sampling{meter: true}
)

const minutes = time.Minute

func within(d time.Duration) func(outcome) bool {
	return func(o outcome) bool { return o.found && o.after <= d }
}

// leaks is a plan for a leak of the default pump.
func leaks(how sampling, size float64, speed quantity.RevolutionsPerMinute, learn, limit, then time.Duration) func(testing.TB, uint64) outcome {
	return func(t testing.TB, seed uint64) outcome {
		return plan{set: site(seed, speed), how: how, fault: leakOf(seed, size), learn: learn, within: limit, then: then}.live(t)
	}
}

func behind(change func(*simulator.Transmitter), size float64, learn, limit time.Duration) func(testing.TB, uint64) outcome {
	return func(t testing.TB, seed uint64) outcome {
		s := site(seed, 300)
		change(&s.Discharge)
		return plan{set: s, how: indexed, fault: leakOf(seed, size), learn: learn, within: limit, then: 5 * minutes}.live(t)
	}
}

func naming(how sampling, size float64, ramp bool) func(testing.TB, uint64) outcome {
	return func(t testing.TB, seed uint64) outcome {
		return plan{set: variedSite(seed), how: how, fault: leakOf(seed/3, size), learn: 16 * minutes, within: 20 * minutes, then: 10 * minutes, restarts: ramp}.live(t)
	}
}

// mimic is something that is no leaking valve.
func mimic(events ...simulator.Event) func(testing.TB, uint64) outcome {
	return func(t testing.TB, seed uint64) outcome {
		e := events[seed%uint64(len(events))]
		e.Cylinder = int(seed/2) % 3
		s := variedSite(seed / 2)
		how := indexed
		how.meter = true
		return plan{set: s, how: how, fault: e, learn: 16 * minutes, within: 20 * minutes, then: 10 * minutes, restarts: true}.live(t)
	}
}

// calledAValve is whether one check valve was given half or more.
func calledAValve(o outcome) bool {
	for _, p := range o.view.Parts {
		if (p.Component == "suction_valve" || p.Component == "discharge_valve") && p.Probability >= 0.5 {
			return true
		}
	}
	return false
}

func always(outcome) bool { return true }

func nothingNamed(o outcome) bool {
	for _, c := range o.view.Causes {
		if strings.HasPrefix(c.Cause, "loss_in_") && c.Probability > 0.6 {
			return false
		}
	}
	return true
}

func foundAtAll(o outcome) bool { return o.found }

func rightSize(o outcome) bool {
	return o.view.Leak.Known() && math.Abs(o.view.Leak.Middle/o.size-1) <= 0.3
}

func lineKnown(o outcome) bool { return o.found && o.view.NotNamed == "" }

func cases() []bookCase {
	const unasked = 0
	return []bookCase{
		{"5 % leak, 50 Hz, 300 rpm, no index, in 5 min", 2, 200, leaks(tcp50, 0.05, 300, 16*minutes, 15*minutes, 5*minutes), within(5 * minutes), always, 0.95},
		{"2 % leak, 50 Hz, index, in 30 min", 1, 200, leaks(indexed, 0.02, 300, 16*minutes, 40*minutes, 5*minutes), within(30 * minutes), always, 0.9},
		{"10 % leak, 10 Hz, 250 rpm, index, in 10 min", 1, 200, leaks(tcp10, 0.10, 250, 16*minutes, 20*minutes, 5*minutes), within(10 * minutes), always, 0.95},
		// At 300 rpm the third order, polled at 10 Hz, falls on the first.
		{"10 % leak, 10 Hz, 300 rpm, index, in 10 min", 0, 200, leaks(tcp10, 0.10, 300, 16*minutes, 20*minutes, 5*minutes), within(10 * minutes), always, unasked},
		{"5 % leak, RTU 19200, 20 s every 5 min, in 30 min", 2, 200, leaks(rtu, 0.05, 300, 60*minutes, 60*minutes, 30*minutes), within(30 * minutes), always, 0.9},
		{"5 % leak, 900 rpm, 50 Hz, index, in 30 min", 1, 100, leaks(indexed, 0.05, 900, 16*minutes, 30*minutes, 5*minutes), within(30 * minutes), always, unasked},
		{"10 % leak, 900 rpm, 50 Hz, index, in 30 min", 0, 100, leaks(indexed, 0.10, 900, 16*minutes, 30*minutes, 0), within(30 * minutes), always, unasked},
		{"10 % leak, 1750 rpm, 50 Hz, index, in 30 min", 0, 100, leaks(indexed, 0.10, 1750, 16*minutes, 30*minutes, 5*minutes), within(30 * minutes), always, unasked},
		{"20 % leak, 1750 rpm, 50 Hz, index, in 30 min", 0, 100, leaks(indexed, 0.20, 1750, 16*minutes, 30*minutes, 0), within(30 * minutes), always, unasked},
		{"5 % leak, damping 0.4 s, in 30 min", 0, 100, behind(func(t *simulator.Transmitter) { t.Damping = 0.4 }, 0.05, 16*minutes, 30*minutes), within(30 * minutes), always, unasked},
		{"20 % leak, damping 0.4 s, in 30 min", 0, 100, behind(func(t *simulator.Transmitter) { t.Damping = 0.4 }, 0.2, 16*minutes, 30*minutes), within(30 * minutes), always, unasked},
		{"5 % leak, 100 ms analog module, in 30 min", 0, 100, behind(func(t *simulator.Transmitter) { t.Average, t.Update = 0.1, 0.1 }, 0.05, 16*minutes, 30*minutes), within(30 * minutes), always, unasked},
		{"20 % leak, 100 ms analog module, in 30 min", 0, 100, behind(func(t *simulator.Transmitter) { t.Average, t.Update = 0.1, 0.1 }, 0.2, 16*minutes, 30*minutes), within(30 * minutes), always, unasked},
		{"5 % of all flow lost, flow meter only, in 1 h", 2, 200, leaks(meter, 0.3, 300, 20*minutes, 70*minutes, 0), within(60 * minutes), always, 0.95},
		{"10 % leak, index, line from a ramp: named", 3, 288, naming(indexed, 0.10, true), func(o outcome) bool { _, ok := o.named(); return ok }, always, unasked},
		{"… and right, of those named", 0, 0, nil, func(o outcome) bool {
			c, _ := o.named()
			return c.Cause == o.truth.Cause && c.Cylinder == o.truth.Cylinder
		}, func(o outcome) bool { _, ok := o.named(); return ok }, 0.95},
		{"… and the leak within 30 %, line known", 0, 0, nil, rightSize, lineKnown, unasked},
		{"20 % leak, index, line from a ramp: named", 0, 144, naming(indexed, 0.20, true), func(o outcome) bool { _, ok := o.named(); return ok }, always, unasked},
		{"… and right, of those named", 0, 0, nil, func(o outcome) bool {
			c, _ := o.named()
			return c.Cause == o.truth.Cause && c.Cylinder == o.truth.Cylinder
		}, func(o outcome) bool { _, ok := o.named(); return ok }, 0.95},
		{"… and the leak within 30 %, line known", 0, 0, nil, rightSize, lineKnown, unasked},
		{"line not measured: no half above 60 %", 1, 144, naming(indexed, 0.10, false), nothingNamed, always, 1},
		{"small head 10 %, gassy head, wobble: no valve called", 2, 150, mimic(
			simulator.Event{Do: simulator.SmallHead, Size: 0.1}, simulator.Event{Do: simulator.GassyHead, Size: 0.08}, simulator.Event{Do: simulator.SpeedWobble, Size: 0.01},
			simulator.Event{Do: simulator.OilCellRelief, Size: 0.3}, simulator.Event{Do: simulator.DampenerLost, Size: 1},
		), func(o outcome) bool { return !calledAValve(o) }, foundAtAll, 0.9},
		{"strainer, air in oil, bypass, all valves worn: no valve called", 2, 150, mimic(
			simulator.Event{Do: simulator.StrainerPlugged, Size: 12}, simulator.Event{Do: simulator.OilAerated, Size: 0.05},
			simulator.Event{Do: simulator.BypassOpen, Size: 0.1}, simulator.Event{Do: simulator.AllValvesWorn, Size: 0.05},
		), func(o outcome) bool { return !calledAValve(o) }, foundAtAll, 0.9},
	}
}

// TestFaultBook lives pumps through faults and prints what was found. A row
// fails when even the upper end of its Wilson interval lies below its bar.
func TestFaultBook(t *testing.T) {
	if testing.Short() {
		t.Skip("plays pumps for a minute")
	}
	list := cases()
	results := make([][]outcome, len(list))
	began := time.Now()
	var out strings.Builder
	fmt.Fprintf(&out, "%-62s %9s %18s %8s %9s %7s %5s\n", "case", "good", "95 % interval", "bar", "median", "P(true)", "rank")
	var all []outcome
	for i := range list {
		c := &list[i]
		n := c.quick
		if *book == "full" {
			n = c.full
		} else if some, err := strconv.Atoi(*book); err == nil {
			n = some
		}
		if c.run == nil {
			results[i] = results[i-1]
		} else if n > 0 {
			results[i] = runs(t, n, c.run)
			all = append(all, results[i]...)
		}
		if len(results[i]) == 0 {
			continue
		}
		good, asked := 0, 0
		for _, o := range results[i] {
			if c.asked(o) {
				asked++
				if c.good(o) {
					good++
				}
			}
		}
		low, high := wilson(good, asked)
		p, rank := given(results[i])
		fmt.Fprintf(&out, "%-62s %4d/%-4d %7.1f–%5.1f %% %6.0f %% %9s %7.2f %5.1f\n", c.name, good, asked, 100*low, 100*high, 100*c.bar, medianTime(results[i]), p, rank)
		if asked > 0 && high < c.bar {
			t.Errorf("%s: %d of %d, at best %.1f %%, want %.0f %%", c.name, good, asked, 100*high, 100*c.bar)
		}
	}
	score, n := brier(all)
	fmt.Fprintf(&out, "Brier score of \"one head loses flow\" over %d runs found: %.3f\n", n, score)
	if n > 0 && score > 0.1 {
		t.Errorf("Brier score %.3f, want 0.10 at most", score)
	}
	t.Logf("fault book, %s, %v:\n%s", *book, time.Since(began).Round(time.Second), out.String())
}

// runs lives n seeds, on all processors.
func runs(t testing.TB, n int, run func(testing.TB, uint64) outcome) []outcome {
	list := make([]outcome, n)
	next := make(chan int)
	var wg sync.WaitGroup
	for range runtime.GOMAXPROCS(0) {
		wg.Go(func() {
			for i := range next {
				list[i] = run(t, uint64(i))
			}
		})
	}
	for i := range n {
		next <- i
	}
	close(next)
	wg.Wait()
	return list
}

// wilson is the 95 % interval of a share (Wilson 1927).
func wilson(good, n int) (low, high float64) {
	if n == 0 {
		return 0, 1
	}
	const z = 1.959963984540054
	p, m := float64(good)/float64(n), float64(n)
	middle := (p + z*z/2/m) / (1 + z*z/m)
	half := z / (1 + z*z/m) * math.Sqrt(p*(1-p)/m+z*z/4/m/m)
	return middle - half, middle + half
}

func medianTime(list []outcome) string {
	var found []float64
	for _, o := range list {
		if o.found {
			found = append(found, o.after.Seconds())
		}
	}
	if len(found) == 0 {
		return "–"
	}
	return (time.Duration(medianOf(found)) * time.Second).String()
}

func medianOf(list []float64) float64 {
	best, least := 0.0, math.Inf(1)
	for _, x := range list { // least sum of distances
		sum := 0.0
		for _, y := range list {
			sum += math.Abs(x - y)
		}
		if sum < least {
			best, least = x, sum
		}
	}
	return best
}

// given is the mean probability and rank of the true cause where something was
// found and there is one.
func given(list []outcome) (p, rank float64) {
	n := 0.0
	for i := range list {
		if o := &list[i]; o.found && o.truth.Cause != "" && len(o.view.Causes) > 0 {
			q, r := o.probability()
			p += q
			rank += float64(r)
			n++
		}
	}
	return p / n, rank / n
}

// brier is the mean squared error of the probability that one head loses flow.
func brier(list []outcome) (score float64, n int) {
	for _, o := range list {
		if !o.found || len(o.view.Causes) == 0 {
			continue
		}
		want := 0.0
		if o.oneHead {
			want = 1
		}
		score += (o.view.OneHead - want) * (o.view.OneHead - want)
		n++
	}
	return score / float64(n), n
}

// TestQuietDays lets healthy pumps live with starts, stops, changes of speed,
// pressure and temperature, noise and devices that fall silent, and lists every
// advisory about wear.
func TestQuietDays(t *testing.T) {
	days, pumps := 0.1, 2
	if *book == "full" {
		days, pumps = 3, 30
	}
	list := runs(t, pumps, func(t testing.TB, seed uint64) outcome { return quiet(t, seed, days) })
	total, advisories := 0.0, 0
	for i, o := range list {
		total += o.days
		advisories += len(o.visits)
		for _, v := range o.visits {
			t.Logf("pump %d: %s", i, v)
		}
	}
	t.Logf("%d advisories in %.1f quiet pump-days", advisories, total)
	if float64(advisories) > math.Max(1, total/90) {
		t.Errorf("%d false advisories in %.1f pump-days, want 1 in 90 at most", advisories, total)
	}
}

func quiet(t testing.TB, seed uint64, days float64) outcome {
	s := variedSite(seed)
	s.Running = true
	how := []sampling{windows, rtu, meter}[seed%3]
	b := newBench(t, s, how)
	rng := rand.New(rand.NewPCG(seed, 5))
	end := time.Duration(days * 24 * float64(time.Hour))
	rated := float64(s.Machine.RatedSpeed)
	for at := time.Hour; at < end; at += time.Duration(20+rng.IntN(100)) * time.Minute {
		switch rng.IntN(6) {
		case 0:
			b.event(simulator.Event{At: at, Do: simulator.Stop}, simulator.Event{At: at + 3*time.Minute, Do: simulator.Start})
		case 1:
			b.event(simulator.Event{At: at, Do: simulator.SetSpeed, Size: rated * (0.75 + 0.25*rng.Float64())})
		case 2:
			b.event(simulator.Event{At: at, Do: simulator.ContactorPressure, Size: 5.5 + 2*rng.Float64(), Onset: 10 * time.Minute})
		case 3:
			b.event(simulator.Event{At: at, Do: simulator.Cold, Size: 20 * rng.Float64(), Onset: 30 * time.Minute})
		case 4:
			b.event(simulator.Event{At: at, Do: simulator.DeviceSilent, Device: simulator.Instruments}, simulator.Event{At: at + 2*time.Minute, Do: simulator.DeviceAnswering, Device: simulator.Instruments})
		case 5:
			b.event(simulator.Event{At: at, Do: simulator.SetSpeed, Size: rated}, simulator.Event{At: at, Do: simulator.ContactorPressure, Size: 0, Onset: 5 * time.Minute})
		}
	}
	b.run(end, nil)
	return outcome{visits: b.visits, days: days}
}
