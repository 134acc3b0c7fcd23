package rules

import (
	"time"

	"pumpside/drivers"
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

// highestOrder is that of the orders observed.
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
	aligned   condition.Band // of the newest window
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
	refreshed time.Duration // when the newest block ended
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
		o.forgetShaft(set, s)
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
