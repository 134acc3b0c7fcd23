package rules

import (
	"math"
	"math/cmplx"
	"slices"
	"time"

	"pumpside/drivers"
	"pumpside/drivers/quantity"
	"pumpside/rules/alarm"
	"pumpside/rules/condition"
	"pumpside/rules/diagnosis"
	"pumpside/rules/orders"
	"pumpside/rules/pump"
)

// A recent is the mean change of one indicator since a finding began, and how
// far its blocks scatter.
type recent struct {
	indicator condition.Indicator
	vector    bool
	seen      complex128 // the last block
	baseline  complex128
	learned   int
	blocks    int     // ever
	rough     float64 // variance of a block, per part, from one block to the next
	n         int     // blocks since the finding began
	mean      complex128
}

// take notes the newest block and reports whether it is new.
func (r *recent) take(c *condition.Change, active bool) bool {
	r.baseline, r.learned = c.Baseline, c.Blocks
	if c.Value == r.seen || !c.Learned {
		return false
	}
	if r.blocks > 0 {
		step := c.Value - r.seen
		x := (real(step)*real(step) + imag(step)*imag(step)) / 2
		if r.vector {
			x /= 2
		}
		if r.blocks > 4 { // a change itself is no scatter
			x = min(x, 9*r.rough)
		}
		r.rough += (x - r.rough) * math.Max(1/float64(r.blocks), 0.05)
	}
	r.blocks++
	r.seen = c.Value
	if !active {
		r.n, r.mean = 0, 0
		return true
	}
	r.n++
	r.mean += (c.Value - c.Baseline - r.mean) * complex(math.Max(1/float64(r.n), 1.0/30), 0)
	return true
}

// change is the mean since the finding began and its standard error per part.
func (r *recent) change() (delta complex128, sigma float64, ok bool) {
	if r.n == 0 || r.learned == 0 {
		return 0, 0, false
	}
	return r.mean, math.Sqrt(r.rough * (1/math.Min(float64(r.n), 30) + 1/float64(r.learned))), true
}

// stale is after how long without a new block nothing is judged: where a change
// stood last says nothing of the pump now. Fast windows come every five minutes
// unless somebody says otherwise (common practice, no source).
const stale = 30 * time.Minute

// judge looks at where every indicator stands, ranks causes while any has
// changed, and moves the findings on.
func (o *observer) judge(set *Settings, s *State) {
	if !o.calm(s) {
		return
	}
	o.changes = s.Observed.Condition.Changes(&o.condition, o.band, o.changes[:0])
	now := s.moment.At.SinceBoot
	active, learned := false, false
	for i := range o.changes {
		active = active || o.changes[i].Raised
		learned = learned || o.changes[i].Learned
	}
	fresh := false
	for i := range o.changes {
		if o.recent(&o.changes[i]).take(&o.changes[i], active) {
			fresh = true
		}
	}
	if fresh {
		o.refreshed = now
	}
	if !learned || now-o.refreshed > stale {
		return
	}
	s.learned()
	o.concluded = true
	was := s.Observed.Changed || s.Observed.Change.Present // in the process before, too; older states know the latter only
	visited := s.Observed.advised()
	s.Observed.Changed = active
	o.changed = active
	switch {
	case !active:
		o.ranking = nil
	case o.ranking == nil || fresh && now-o.ranked >= rankEvery:
		o.ranked = now
		e := o.evidence(set, s)
		o.model.Unconfirmed = s.Observed.Unconfirmed
		r := o.model.Rank(&e)
		o.ranking = &r
	}
	o.oneHead = active && o.ranking.OneHead >= 0.5 && o.firstMoved()
	visit := s.Observed.Change.Judge(s.moment.At, active && slices.ContainsFunc(o.changes, o.worthVisit))
	one := s.Observed.OneHead.Judge(s.moment.At, o.oneHead)
	o.visit = visit || one
	o.follow(s, fresh)
	if active {
		s.doubtIndex()
	}
	switch {
	case active && !was:
		s.record(CapturedBegan, "")
		s.happened[len(s.happened)-1].Causes = o.causes()
		s.capture(CapturedBegan)
	case !active && was:
		s.record(CapturedPassed, "")
		s.capture(CapturedPassed)
	case o.visit && !visited:
		s.capture(CapturedVisit)
	}
}

// firstMoved is whether once per turn, to which a leaking half-stroke adds most,
// has changed by enough to go there for, or is not seen while other orders are.
// Without any, a loss of flow is that of no one head.
func (o *observer) firstMoved() bool {
	others := false
	for i := range o.changes {
		switch c := &o.changes[i]; {
		case !c.Learned || orderOf(c.Indicator) == 0:
		case c.Indicator == orderOne:
			return o.worthVisit(*c)
		default:
			others = true
		}
	}
	return others
}

// Of plain numbers, what is well worth a visit (common practice, no source).
// Less is a level in the tank or a meter's drift.
const (
	efficiencyWorth = 0.02 // of what the plungers displace
	torqueWorth     = 0.1  // of what was learned
	suctionWorth    = 20e3 // Pa
)

// worthVisit is whether a change may advise a visit. The orders of a pump that
// is well move within a band, for the line answers each of them differently at
// every speed and pressure, the higher ones most (common practice, no source).
// What a leak adds to the first grows with the line's answer as what unlike
// heads give it does, so a part of that is nothing to go there for. What only
// all orders together show waits until one of them does.
func (o *observer) worthVisit(c condition.Change) bool {
	const first, far, ofRipple = 0.3, 0.5, 0.1 // of the baseline, of a higher order's, of the ripple's
	ripple := 0.0
	for i := range o.changes {
		if o.changes[i].Indicator == condition.OrderIndicator(pump.Discharge, o.model.Geometry.Cylinders) {
			ripple = cmplx.Abs(o.changes[i].Baseline)
		}
	}
	least := 0.0
	switch k := orderOf(c.Indicator); {
	case c.Indicator == condition.Together:
		return false
	case c.Indicator == condition.VolumetricEfficiency:
		least = efficiencyWorth
	case c.Indicator == condition.TorquePerPressure:
		least = torqueWorth * cmplx.Abs(c.Baseline)
	case c.Indicator == condition.SuctionPressure:
		least = suctionWorth
	case k == 1:
		least = first * cmplx.Abs(c.Baseline)
	case float64(k)*float64(o.operating.Speed)/60*o.pace.interval.Seconds() > 0.45:
		return false // polled about twice in its period, or less: others fall onto it
	default:
		least = max(far*cmplx.Abs(c.Baseline), ofRipple*ripple)
	}
	return c.Raised && cmplx.Abs(c.Delta) > least
}

// advised is whether a visit was, when the pump was last judged.
func (o *Observed) advised() bool {
	return o.Change.Visit(o.Change.Seen) || o.OneHead.Visit(o.OneHead.Seen)
}

// learned journals once that there is a baseline.
func (s *State) learned() {
	if !s.Observed.Learned {
		s.Observed.Learned = true
		s.record("baseline_learned", "")
	}
}

func (o *observer) recent(c *condition.Change) *recent {
	for i := range o.recents {
		if o.recents[i].indicator == c.Indicator {
			return &o.recents[i]
		}
	}
	o.recents = append(o.recents, recent{indicator: c.Indicator, vector: c.Vector})
	return &o.recents[len(o.recents)-1]
}

// evidence gathers the changes for the diagnosis.
func (o *observer) evidence(set *Settings, s *State) diagnosis.Evidence {
	e := diagnosis.Evidence{
		Speed: o.operating.Speed, Pressure: o.operating.Pressure,
		Indexed: o.indexed && set.Geometry.NamesCylinders(), Bypass: s.contact(set, drivers.BypassValve),
		Rate: o.rate(set),
	}
	if d, known := s.moment.At.Since(s.Observed.Service); known && !s.Observed.Service.IsZero() {
		e.FromService = d.Hours() < 24
	}
	for i := range o.recents {
		r := &o.recents[i]
		if delta, sigma, ok := r.change(); ok {
			addEvidence(&e, set, r.indicator, r.baseline, delta, sigma)
		}
	}
	return e
}

// rate is how many new values of the pressure come in a second; 0 is not known.
func (o *observer) rate(set *Settings) float64 {
	beat := o.pace.interval.Seconds()
	if beat == 0 {
		return 0
	}
	if i, ok := set.place(drivers.DischargePressure); ok {
		beat = max(beat, set.Signals[i].UpdatePeriod.Seconds())
	}
	return 1 / beat
}

// addEvidence adds the change of one indicator from its baseline, with its
// standard error per part. Angles go from the index mark to cylinder 1's start
// of discharge.
func addEvidence(e *diagnosis.Evidence, set *Settings, indicator condition.Indicator, baseline, delta complex128, sigma float64) {
	if k := orderOf(indicator); k > 0 {
		turn := complex(1, 0)
		if e.Indexed {
			turn = cmplx.Rect(1, -float64(k)*float64(set.Geometry.Index.Angle)*math.Pi/180)
		}
		e.Orders[k] = diagnosis.OrderChange{Seen: true, Baseline: baseline * turn, Delta: delta * turn, Sigma: sigma}
		return
	}
	number := diagnosis.NumberChange{Seen: true, Baseline: real(baseline), Delta: real(delta), Sigma: sigma}
	switch indicator {
	case condition.VolumetricEfficiency:
		e.Efficiency = number
	case condition.TorquePerPressure:
		e.Torque = number
	case condition.SuctionPressure:
		e.Suction = number
	}
}

func (s *State) contact(set *Settings, signal drivers.Signal) diagnosis.Switch {
	switch s.is(set, signal) {
	case alarm.Yes:
		return diagnosis.On
	case alarm.No:
		return diagnosis.Off
	}
	return diagnosis.NotInstalled
}

// leastShown is the probability from which a cause is worth a line.
const leastShown = 0.02

// causes are those worth showing, none of these always among them.
func (o *observer) causes() []alarm.Cause {
	if o.ranking == nil {
		return nil
	}
	var list []alarm.Cause
	for _, c := range o.ranking.Causes {
		if c.Probability >= leastShown || c.Cause == diagnosis.NoneOfThese {
			list = append(list, alarm.Cause{Cause: c.Cause, Cylinder: c.Cylinder, Probability: c.Probability})
		}
	}
	return list
}

// proof is the evidence in numbers, for the alerts about a finding.
func (o *observer) proof() []alarm.Evidence {
	var list []alarm.Evidence
	share := func(key string, x float64) {
		list = append(list, alarm.Evidence{Key: key, Quantity: alarm.Quantity{Value: x, Dimension: quantity.Share}})
	}
	if o.ranking != nil && o.oneHead && o.ranking.Leak.Known() {
		share("leak_ratio", o.ranking.Leak.Middle)
		share("leak_at_least", o.ranking.Leak.Low)
		share("leak_at_most", o.ranking.Leak.High)
		list = append(list, o.grown(LeakCourse)...)
	}
	list = append(list, o.grown(EfficiencyCourse)...)
	// Wear of plungers shows in warm oil, and a relief valve that lifts warms it.
	if t := float64(o.operating.Oil); o.operating.Speed > 0 && !math.IsNaN(t) {
		list = append(list, alarm.Evidence{Key: drivers.HydraulicOilTemperature.String(), Quantity: alarm.Quantity{Value: t, Dimension: quantity.Temperature}})
	}
	for i := range o.recents {
		r := &o.recents[i]
		delta, sigma, ok := r.change()
		if !ok {
			continue
		}
		switch r.indicator {
		case condition.OrderIndicator(pump.Discharge, 1):
			list = append(list, alarm.Evidence{Key: "order_change", Quantity: alarm.Quantity{Value: cmplx.Abs(delta), Dimension: quantity.Pressure}})
			if sigma > 0 {
				list = append(list, number("order_change_errors", cmplx.Abs(delta)/sigma))
			}
		case condition.VolumetricEfficiency:
			share("efficiency_learned", real(r.baseline))
			share("efficiency_now", real(r.baseline)+real(delta))
		}
	}
	return list
}

// serviced makes the pump learn anew: after work it is another pump. What was
// measured of the line stays unless line or dampener were worked on. After
// electrical work nothing is named until somebody has confirmed the rotation.
func (s *State) serviced(entry *drivers.ServiceEntry) {
	if entry.Undoes > 0 {
		return
	}
	was := s.Observed
	s.Observed = Observed{Line: was.Line, Service: s.moment.At, Unconfirmed: was.Unconfirmed, Machine: was.Machine}
	if entry.LineChanged {
		s.Observed.Line = diagnosis.Line{}
	}
	if entry.ElectricalWork && !was.Unconfirmed {
		s.Observed.Unconfirmed = true
		s.record("naming_withheld", "")
	}
	if entry.RotationConfirmed {
		s.Observed.Unconfirmed = false
	}
	o := &s.observer
	o.changes = o.changes[:0]
	o.recents, o.concluded, o.changed, o.ranking, o.visit, o.oneHead = o.recents[:0], false, false, nil, false, false
	o.trends = o.trends[:0]
	o.reference, o.fold = [highestOrder + 1]complex128{}, orders.Fold{}
	o.track.Recall(0, 0)
}

// watches is possible for a pump whose condition is watched by any of those
// signals.
func watches(signals ...drivers.Signal) func(*Settings) bool {
	return func(set *Settings) bool { return set.observes() && set.has(signals...) }
}

// largeLeak is a leak that does not wait for the next planned visit
// (common practice, no source).
const largeLeak = 0.3

// judgeOneHead holds when a half-stroke of one head is believed to lose flow
// for long enough to advise a visit.
func judgeOneHead(_ *Settings, s *State, _ int) alarm.Condition {
	o := &s.observer
	if o.ranking == nil {
		return alarm.Judged(s.judgedNo())
	}
	c := alarm.Judged(alarm.KnownBool(o.oneHead && s.Observed.OneHead.Visit(s.moment.At)))
	c.HasValue, c.Value = o.ranking.Leak.Known(), o.ranking.Leak.Middle
	c.Worse = c.Holds == alarm.Yes && o.ranking.Leak.Low > largeLeak
	return c
}

// judgeFinding holds when something else has changed for long enough.
func judgeFinding(_ *Settings, s *State, _ int) alarm.Condition {
	if s.observer.ranking == nil {
		return alarm.Judged(s.judgedNo())
	}
	return alarm.Judged(alarm.KnownBool(s.Observed.Change.Visit(s.moment.At) && !s.observer.oneHead))
}

// judgedNo is No once the pump's condition is known to be as it was, Unknown
// before.
func (s *State) judgedNo() alarm.Known {
	if s.observer.concluded && !s.observer.changed {
		return alarm.No
	}
	return alarm.Unknown
}

// Efficiency is low from a tenth under what was learned, and worse from a fifth
// (common practice, no source).
const (
	efficiencyLow   = 0.9
	efficiencyWorse = 0.8
)

func judgeEfficiency(_ *Settings, s *State, _ int) alarm.Condition {
	for i := range s.observer.changes {
		c := &s.observer.changes[i]
		if c.Indicator != condition.VolumetricEfficiency || !c.Learned {
			continue
		}
		now, learned := real(c.Value), real(c.Baseline)
		k := withValue(alarm.Judged(alarm.KnownBool(c.Raised && now < efficiencyLow*learned)), now, efficiencyLow*learned)
		k.Worse = k.Holds == alarm.Yes && now < efficiencyWorse*learned
		return k
	}
	return alarm.Condition{}
}
