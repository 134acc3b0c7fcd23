package rules

import (
	"time"

	"pumpside/drivers"
)

// A Capture is the discharge pressure, and the shaft index with it, as they
// were read in the fast windows before and after a finding changed. It shows
// what the diagnosis saw.
type Capture struct {
	Why      string          // one of the Captured constants
	At       drivers.Instant // when the finding changed
	Readings []CapturedReading
}

// Why windows are captured.
const (
	CapturedBegan  = "finding_began"
	CapturedPassed = "finding_passed"
	CapturedVisit  = "visit_advised"
)

// A CapturedReading is one good reading.
type CapturedReading struct {
	SinceBoot time.Duration // in the boot of the Capture's At
	HalfWidth time.Duration
	Signal    drivers.Signal
	Value     float64
}

const (
	capturedBefore = 800 // readings: two windows of 50 Hz with an index
	capturedAfter  = 800
	capturedWithin = 15 * time.Minute // after the change, at most: longer than the beat of fast windows
)

// A recentRaw is a ring of the newest readings in fast windows. It is made
// when there are any.
type recentRaw struct {
	ring []CapturedReading
	next int
}

func (r *recentRaw) add(c CapturedReading) {
	if r.ring == nil {
		r.ring = make([]CapturedReading, 0, capturedBefore)
	}
	if len(r.ring) < capturedBefore {
		r.ring = append(r.ring, c)
		return
	}
	r.ring[r.next] = c
	r.next = (r.next + 1) % capturedBefore
}

func (r *recentRaw) forget() { r.ring, r.next = r.ring[:0], 0 }

// raw keeps a reading of a fast window, and adds it to a capture under way.
func (o *observer) raw(b *drivers.Batch, r *drivers.Reading) {
	if o.window == nil {
		return
	}
	c := CapturedReading{b.At.SinceBoot, b.HalfWidth, r.Signal, r.Value}
	if o.capture != nil {
		o.capture.Readings = append(o.capture.Readings, c)
	}
	o.recentRaw.add(c)
}

// capture begins a capture, unless one is under way.
func (s *State) capture(why string) {
	o := &s.observer
	if o.capture != nil {
		return
	}
	r := &o.recentRaw
	list := make([]CapturedReading, 0, len(r.ring)+capturedAfter)
	list = append(append(list, r.ring[r.next:]...), r.ring[:r.next]...)
	o.capture = &Capture{Why: why, At: s.moment.At, Readings: list}
	o.captureBefore = len(list)
}

// endCapture hands a capture over once it is full, or its time is over, or it
// must.
func (s *State) endCapture(must bool) {
	o := &s.observer
	c := o.capture
	if c == nil {
		return
	}
	full := len(c.Readings)-o.captureBefore >= capturedAfter || s.moment.At.SinceBoot-c.At.SinceBoot >= capturedWithin
	if !full && !must {
		return
	}
	if o.capture = nil; len(c.Readings) > 0 {
		s.captured = append(s.captured, c)
	}
}
