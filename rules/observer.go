package rules

import (
	"math"
	"math/cmplx"
	"time"

	"pumpside/drivers"
	"pumpside/drivers/quantity"
	"pumpside/rules/alarm"
	"pumpside/rules/condition"
	"pumpside/rules/diagnosis"
	"pumpside/rules/orders"
	"pumpside/rules/pump"
)

// The observer's times.
const (
	calmFor    = 30 * time.Second // the speed has been the same for so long before anything is learned or judged
	judgeEvery = 10 * time.Second
	rankEvery  = time.Minute     // while something has changed
	rampEnds   = 3 * time.Second // after the speed has settled, the ramp before it is surveyed
)

// ripples are the orders observed.
const highestOrder = 6

// Observed is what the observer remembers of a pump beyond the process.
type Observed struct {
	Condition condition.State       `json:"condition,omitzero"`
	Line      diagnosis.Line        `json:"line,omitzero"`
	Change    diagnosis.Persistence `json:"change,omitzero"`   // something has changed
	OneHead   diagnosis.Persistence `json:"one_head,omitzero"` // and it is one head
	Service   drivers.Instant       `json:"service,omitzero"`  // the last one recorded
	Learned   bool                  `json:"learned,omitempty"` // it was journalled
	Changed   bool                  `json:"changed,omitempty"` // something was, worth a visit or not
	Courses   courses               `json:"courses,omitzero"`
	Grows     bool                  `json:"grows,omitempty"` // it was journalled that the leak grows
	// Unconfirmed is that electrical work was recorded and nobody has
	// confirmed the rotation since.
	Unconfirmed bool `json:"unconfirmed,omitempty"`
	// Machine tells which pump it was learned of; see [Settings.machine].
	Machine string `json:"machine,omitempty"`
}

// An observer turns fast pressure, flow and load into indicators, indicators
// into changes, and changes into causes. It is the part of a State that starts
// afresh with the process.
type observer struct {
	model     *diagnosis.Model
	condition condition.Settings
	ready     bool

	// The shaft.
	speed     float64       // rpm that was steady
	speedAt   time.Duration // since when
	moved     bool          // it has moved since the last survey
	settled   float64       // rpm before it moved
	placed    bool          // the speed was seen
	turns     float64       // pulses counted, since some mark
	count     float64
	countAt   time.Duration
	hasCount  bool
	operating condition.Operating
	band      condition.Band
	place     condition.Place

	// Orders.
	pace      pace
	window    *orders.Window
	fitter    *orders.Fitter
	track     orders.Track
	result    orders.Result
	survey    *diagnosis.Survey
	indexed   bool
	reference [highestOrder + 1]complex128 // by which a lost angle is found again
	level     [highestOrder + 1]orderLevel
	fold      orders.Fold // of the band

	list      []condition.Observation
	judged    time.Duration
	ranked    time.Duration
	changes   []condition.Change
	recents   []recent
	concluded bool // something was judged in this life of the process
	changed   bool
	ranking   *diagnosis.Ranking // nil while nothing has changed
	visit     bool
	oneHead   bool
	trends    []IndicatorTrend // of Observed.Courses

	recentRaw     recentRaw
	capture       *Capture // under way; nil: none
	captureBefore int      // its readings from before the change

	suspects    []pump.Finding // of the ranking and the visit beside it
	listed      *diagnosis.Ranking
	listedVisit bool
}

// orderLevel is the latest of an order, for those who look.
type orderLevel struct {
	amplitude, sigma float64 // Pa
	at               time.Duration
}

// observe passes a batch through the observer.
func (s *State) observe(set *Settings, b *drivers.Batch) {
	o := &s.observer
	if !o.ready {
		o.start(set, s)
	}
	now := s.moment.At.SinceBoot
	if s.moment.Lost {
		o.forgetShaft()
		s.endCapture(true)
		o.recentRaw.forget()
	}
	o.shaft(set, s, now)
	for i := range b.Readings {
		r := &b.Readings[i]
		if r.Quality != drivers.Good || r.Reason == drivers.Repeated {
			continue
		}
		switch r.Signal {
		case drivers.ShaftIndex:
			o.index(set, s, b, r.Value)
			o.raw(b, r)
		case drivers.DischargePressure:
			switch {
			case o.owns(set, s, drivers.DischargePressure):
				o.pressure(set, s, b, r.Value)
				o.raw(b, r)
			case o.window != nil:
				o.window.Reset()
			}
		case drivers.GlycolFlow:
			if o.owns(set, s, drivers.GlycolFlow) {
				o.flow(set, s, r.Value)
			}
		case drivers.MotorTorque:
			o.torque(set, s, r.Value)
		case drivers.SuctionPressure:
			if o.owns(set, s, drivers.SuctionPressure) {
				o.suction(set, s)
			}
		}
	}
	if now-o.judged >= judgeEvery || now < o.judged {
		o.judged = now
		s.Observed.Condition.Advance(&o.condition, s.moment.At)
		o.judge(set, s)
	}
	s.endCapture(false)
}

func (o *observer) start(set *Settings, s *State) {
	o.ready = true
	s.recognize(set)
	o.model = diagnosis.NewModel(set.Geometry, &s.Observed.Line)
	if i, ok := set.place(drivers.DischargePressure); ok {
		o.model.Path = set.Signals[i].Path
	}
	o.condition = condition.DefaultSettings(condition.DefaultBands(set.Geometry))
	o.survey = diagnosis.NewSurvey()
	o.pace.class = -1
	o.trends = s.Observed.Courses.trends(nil)
}

// owns is whether a signal shows what this pump does and no other.
func (o *observer) owns(set *Settings, s *State, signal drivers.Signal) bool {
	return set.has(signal) && !s.notOwn(set, signal)
}

func (o *observer) forgetShaft() {
	o.hasCount, o.speedAt, o.speed, o.placed = false, 0, 0, false
	o.survey.Reset()
	o.track = orders.Track{}
	if o.window != nil {
		o.window.Reset()
	}
}

// shaft notes since when the speed is steady.
func (o *observer) shaft(set *Settings, s *State, now time.Duration) {
	const steady = 0.015
	speed, known := s.steadySpeed(set)
	if !known {
		return
	}
	if !o.placed { // it may have turned so for hours
		o.speed, o.speedAt, o.settled, o.placed = speed, now, speed, true
	}
	if math.Abs(speed-o.speed) > steady*math.Max(o.speed, 20) {
		o.speed, o.speedAt, o.moved = speed, now, true
	}
	if o.moved && now-o.speedAt > rampEnds {
		o.moved, o.settled = false, o.speed
		o.surveyed(set, s)
	}
}

// Ramping is whether the shaft starts, stops or changes speed, in a pump whose
// line can be measured by it.
func (s *State) Ramping() bool {
	const (
		start  = 0.03 // of rated speed, from rest
		change = 0.10
	)
	o := &s.observer
	if !o.ready || !o.moved || !o.model.Geometry.NamesCylinders() {
		return false
	}
	rated := float64(o.model.Geometry.RatedSpeed)
	by := math.Abs(o.speed - o.settled)
	return by > change*rated || o.settled < start*rated && by > start*rated
}

// steadySpeed is the shaft's speed in rpm by what tells it most smoothly: the
// drive. A pulse count of one a turn, polled, jumps by whole turns.
func (s *State) steadySpeed(set *Settings) (rpm float64, ok bool) {
	if motor, known := s.newest(set, drivers.MotorSpeed); known && set.Geometry.Ratio > 0 {
		return math.Abs(motor) / float64(set.Geometry.Ratio), true
	}
	return float64(s.status.ShaftSpeed), s.status.SpeedKnown
}

// surveyed measures the line from the ramp that has just ended.
func (o *observer) surveyed(set *Settings, s *State) {
	g := &o.model.Geometry
	if g.NamesCylinders() && !s.Observed.Unconfirmed {
		o.survey.Measure(o.model, o.against(set, s), &s.Observed.Line)
	}
	o.survey.Reset()
}

// against is the pressure the pump works against: where it works, or before
// that was seen, what is read.
func (o *observer) against(set *Settings, s *State) quantity.Pascals {
	if o.operating.Pressure > 0 {
		return o.operating.Pressure
	}
	p, _ := s.newest(set, drivers.DischargePressure)
	return quantity.Pascals(p)
}

// calm is whether the pump has turned at one speed for a while, and is not
// settling after service.
func (o *observer) calm(s *State) bool {
	running, since := s.running()
	return running == alarm.Yes && since >= calmFor && s.moment.At.SinceBoot-o.speedAt >= calmFor &&
		s.moment.Logic&alarm.AfterService == 0
}

// index unwraps the pulse count, whose register may roll over at 16 or 32 bit.
func (o *observer) index(set *Settings, s *State, b *drivers.Batch, count float64) {
	per := set.Geometry.Index.PulsesPerRevolution
	if !(per > 0) {
		return
	}
	at := b.At.SinceBoot
	step := count - o.count
	if o.hasCount && step < 0 {
		for _, size := range [...]float64{1 << 16, 1 << 32} {
			if o.count < size && step < 0 {
				step += size
			}
		}
	}
	most := 3 + 2*(at-o.countAt).Seconds()*math.Max(float64(s.status.ShaftSpeed), float64(set.Geometry.RatedSpeed))/60*per
	if !o.hasCount || step < 0 || step > most {
		o.track, o.turns, step = orders.Track{}, 0, 0
		o.survey.Reset()
	} else if step == 1 || step > 0 && step < per {
		middle := (at + o.countAt) / 2
		o.survey.AddMark(middle.Seconds(), (o.turns+step)/per)
	}
	o.turns += step
	o.count, o.countAt, o.hasCount = count, at, true
	if o.window != nil {
		o.window.AddAngle(at, b.HalfWidth, o.turns/per, (o.turns+1)/per)
	}
}

// pressure takes one sample of the discharge pressure.
func (o *observer) pressure(set *Settings, s *State, b *drivers.Batch, value float64) {
	at := b.At.SinceBoot
	place, _ := set.place(drivers.DischargePressure)
	signal := &set.Signals[place]
	o.survey.Add(at.Seconds()-signal.UpdatePeriod.Seconds()/2, value)
	if !o.pace.sample(at) {
		return
	}
	if o.pace.changed(at) {
		o.remake(set, signal)
	}
	if o.window == nil {
		return
	}
	if rpm, known := s.steadySpeed(set); known {
		o.window.AddSpeed(at, rpm/60)
	}
	full := o.window.Add(orders.Sample{At: at, Half: b.HalfWidth, Value: value})
	if !full {
		return
	}
	if o.calm(s) {
		o.fit(set, s)
	}
	o.window.Reset()
}

// remake makes window and fitter for the pace at which pressure is polled.
func (o *observer) remake(set *Settings, signal *SignalSettings) {
	length, capacity := o.pace.window()
	if length == 0 {
		o.window = nil
		return
	}
	o.window = orders.NewWindow(length, capacity)
	o.fitter = orders.NewFitter(orders.Settings{Cylinders: set.Geometry.Cylinders, Beat: signal.UpdatePeriod}, capacity)
}

// fit finds the orders of a full window and observes them.
func (o *observer) fit(set *Settings, s *State) {
	if o.fitter.Fit(o.window, &o.result) != nil {
		return
	}
	r := &o.result
	o.operate(set, s, r.Speed*60)
	lock := o.track.Align(r, set.Geometry.Cylinders)
	if o.indexed = lock == orders.Indexed; lock == orders.Lost {
		o.findAngle(set, s)
	}
	const steady = 0.01
	if r.Spread > steady {
		return
	}
	o.list = condition.FromOrders(o.list[:0], pump.Discharge, r, highestOrder, 0)
	third := cmplx.Abs(r.Amplitude(set.Geometry.Cylinders))
	n := 0
	for k := 1; k <= highestOrder; k++ {
		if !r.Has(k) {
			continue
		}
		size := cmplx.Abs(r.Amplitude(k))
		moves := size + 0.007*third // see diagnosis: what a pump that is well moves by
		o.list[n].Least, o.list[n].Place, o.list[n].Slope = 0.1*moves, o.place, slopes(orderSlopes, moves)
		o.list[n].Joined = k%set.Geometry.Cylinders != 0
		n++
		o.reference[k] += (r.Amplitude(k) - o.reference[k]) * 0.2
		o.level[k] = orderLevel{size, r.StandardError(k), s.moment.At.SinceBoot}
	}
	o.fitter.Fold(r, &o.fold)
	s.Observed.Condition.Observe(&o.condition, s.moment.At, o.band, o.list)
}

// findAngle turns a result whose angle is known only up to a cylinder to where
// its weak orders fit best what was seen in this band.
func (o *observer) findAngle(set *Settings, s *State) {
	r, m := &o.result, set.Geometry.Cylinders
	best, least := 0, math.Inf(1)
	for j := range m {
		cost, any := 0.0, false
		for _, k := range [...]int{1, 2, 4, 5} {
			if ref := o.referenceOf(s, k); ref != 0 && r.Has(k) {
				d := r.Amplitude(k)*cmplx.Rect(1, -2*math.Pi*float64(k*j)/float64(m)) - ref
				e := r.StandardError(k)
				cost += (real(d)*real(d) + imag(d)*imag(d)) / (e * e)
				any = true
			}
		}
		if any && cost < least {
			best, least = j, cost
		}
	}
	if best > 0 {
		r.Turn(2 * math.Pi * float64(best) / float64(m))
	}
	o.track.Adopt(r)
}

// referenceOf is what order k was lately in this band, or when it was learned.
func (o *observer) referenceOf(s *State, k int) complex128 {
	if o.reference[k] != 0 {
		return o.reference[k]
	}
	for i := range s.Observed.Condition.Bands {
		if b := &s.Observed.Condition.Bands[i]; b.Band == o.band {
			for j := range b.Watches {
				if w := &b.Watches[j]; w.Indicator == condition.OrderIndicator(pump.Discharge, k) {
					return w.Last.Complex()
				}
			}
		}
	}
	return 0
}

// operate finds the band the pump works in.
func (o *observer) operate(set *Settings, s *State, speed float64) {
	p, ok := s.settled(set, drivers.DischargePressure)
	if !ok {
		p = o.result.Mean
	}
	o.operating = condition.Operating{
		Speed: quantity.RevolutionsPerMinute(speed), Pressure: quantity.Pascals(p),
		Glycol: s.temperature(set, drivers.GlycolTemperature), Oil: s.temperature(set, drivers.HydraulicOilTemperature),
	}
	band := o.hold(o.operating)
	if band != o.band {
		o.band, o.reference, o.fold = band, [highestOrder + 1]complex128{}, orders.Fold{}
		o.track.Recall(o.referenceOf(s, set.Geometry.Cylinders))
		o.recents = o.recents[:0]
	}
	o.place = o.condition.Bands.Place(o.operating, band)
}

// How far indicators may depend on speed, pressure, glycol and oil within a
// band (common practice, no source). A line's answer to an order may go up and
// down by a part within 5 % of speed, and its phase with it; gas in dampener and
// heads goes with the pressure. Of the volumetric efficiency compression and
// leakage take some hundredths, which go with the pressure; leakage goes with
// the oil's viscosity.
var (
	orderSlopes      = condition.Place{1, 0.3, 0.2, 0.1} // of the order
	efficiencySlopes = condition.Place{0.003, 0.01, 0.003, 0.015}
	torqueSlopes     = condition.Place{0.02, 0.02, 0.01, 0.02} // of the torque
	suctionSlopes    = condition.Place{2e3, 1e3, 2e3, 0}       // Pa
)

func slopes(of condition.Place, size float64) condition.Place {
	for i := range of {
		of[i] *= size
	}
	return of
}

// hold stays in a band until the operating point is well out of it, so that a
// pump on an edge does not change band with every window.
func (o *observer) hold(at condition.Operating) condition.Band {
	const beyond = 0.15 // of a band's width
	b := o.condition.Bands.Of(at)
	w := o.condition.Bands
	stay := func(now, was int, x, width float64) int {
		if now != was && math.Abs(x/width-float64(was)) < 0.5+beyond {
			return was
		}
		return now
	}
	b.Speed = stay(b.Speed, o.band.Speed, float64(at.Speed), float64(w.Speed))
	b.Pressure = stay(b.Pressure, o.band.Pressure, float64(at.Pressure), float64(w.Pressure))
	b.Glycol = stay(b.Glycol, o.band.Glycol, float64(at.Glycol), float64(w.Glycol))
	b.Oil = stay(b.Oil, o.band.Oil, float64(at.Oil), float64(w.Oil))
	return b
}

func (s *State) temperature(set *Settings, signal drivers.Signal) quantity.Celsius {
	if t, ok := s.newest(set, signal); ok {
		return quantity.Celsius(t)
	}
	return condition.None
}

// flow observes the volumetric efficiency.
func (o *observer) flow(set *Settings, s *State, flow float64) {
	if !o.calm(s) {
		return
	}
	rpm, _ := s.steadySpeed(set)
	if seen, ok := condition.FromFlow(set.Geometry, quantity.CubicMetersPerSecond(flow), quantity.RevolutionsPerMinute(rpm)); ok {
		o.number(set, s, seen, efficiencySlopes)
	}
}

// torque observes the torque by differential pressure.
func (o *observer) torque(set *Settings, s *State, torque float64) {
	p, ok := s.settled(set, drivers.DischargePressure)
	if !ok || !o.calm(s) || !(p > 0) {
		return
	}
	suction, _ := s.settled(set, drivers.SuctionPressure)
	if p -= max(suction, 0); p > 0 {
		x := torque / p
		o.number(set, s, condition.Number(condition.TorquePerPressure, x, 0.02*x), slopes(torqueSlopes, x))
	}
}

// suction observes the mean suction pressure.
func (o *observer) suction(set *Settings, s *State) {
	if p, ok := s.settled(set, drivers.SuctionPressure); ok && o.calm(s) {
		o.number(set, s, condition.Number(condition.SuctionPressure, p, 4e3), suctionSlopes)
	}
}

// number observes one plain number, at the operating point of the moment.
func (o *observer) number(set *Settings, s *State, seen condition.Observation, slope condition.Place) {
	rpm, _ := s.steadySpeed(set)
	o.operate(set, s, rpm)
	seen.Place, seen.Slope = o.place, slope
	o.list = append(o.list[:0], seen)
	s.Observed.Condition.Observe(&o.condition, s.moment.At, o.band, o.list)
}
