package rules

import (
	"time"

	"pumpside/drivers"
	"pumpside/drivers/quantity"
	"pumpside/rules/alarm"
)

// A watch remembers what the standing alarms need of the time since the last
// start and the last stop.
type watch struct {
	// Primed: flow was seen since the last start. Unknown when the start was
	// not seen, as after a restart of the agent.
	Primed alarm.Known `json:"primed"`
	// Reverse: something flows back through the standing pump.
	Reverse alarm.Known `json:"reverse"`

	Was      alarm.Known `json:"was"`          // running at the step before
	Ran      alarm.Known `json:"ran,omitzero"` // running when that was last known, and all watched since
	Standing standing60  `json:"standing"`

	Habit     alarm.Habit `json:"habit,omitzero"`      // of standing between two runs
	PowerLost bool        `json:"power_lost,omitzero"` // control power was seen lost, and not seen again
	Fault     faultWatch  `json:"fault,omitzero"`
	LeakDown  leakDown    `json:"leak_down,omitzero"`
	Others    int         `json:"others,omitzero"` // running beside it when Standing was taken

	// RanOn is how long the pump has run without control power being seen.
	RanOn time.Duration `json:"ran_on,omitzero"`
}

// standing60 is what was the case when the pump had stood for 60 s; renewed
// every ten minutes, so that what drifts slowly is no back-flow.
type standing60 struct {
	Taken   bool          `json:"taken"`
	At      time.Duration `json:"at"` // since boot
	Suction *float64      `json:"suction,omitempty"`
	Level   *float64      `json:"level,omitempty"`
	Volume  *float64      `json:"volume,omitempty"`

	Read   *float64      `json:"read,omitempty"` // the newest of the totaliser
	ReadAt time.Duration `json:"read_at,omitzero"`
}

const (
	reverseAfter  = 60 * time.Second
	referenceKept = 10 * time.Minute
	levelTaken    = time.Minute // the highest of so long is the reference: one low sample is none
)

func (w *watch) step(set *Settings, s *State) {
	running, since := s.running()
	switch {
	case running == alarm.Yes && w.Was == alarm.No:
		w.Primed = alarm.No
	case running == alarm.No:
		w.Primed = alarm.Unknown
	}
	if running == alarm.Yes && s.flowing(set).Holds == alarm.Yes {
		w.Primed = alarm.Yes
	}
	w.Was = running
	if running != alarm.Unknown || s.moment.Lost || s.moment.Elapsed > s.moment.Watched {
		w.Ran = running
	}
	w.lookAround(set, s, running)
	w.reverse(set, s, running, since)
}

// reverse judges back-flow. What is unknown leaves it as it was.
func (w *watch) reverse(set *Settings, s *State, running alarm.Known, since time.Duration) {
	switch {
	case running == alarm.Unknown:
		return
	case running == alarm.Yes || since < reverseAfter:
		w.Standing, w.Reverse = standing60{}, alarm.No
		return
	}
	now := s.moment.At.SinceBoot
	r := &w.Standing
	if others := s.told().Running; others != w.Others {
		w.Others, r.Taken = others, false // what all share moves when another starts or stops
	}
	if !r.Taken || now < r.At || w.Reverse != alarm.Yes && now-r.At > referenceKept {
		*r = standing60{Taken: true, At: now, Suction: s.pointer(set, drivers.SuctionPressure), Level: s.pointer(set, drivers.GlycolLevel), Volume: s.pointer(set, drivers.GlycolVolume)}
	}
	if level := s.pointer(set, drivers.GlycolLevel); level != nil && r.Level != nil && now-r.At <= levelTaken {
		*r.Level = max(*r.Level, *level)
	}
	s.lookForZeroing(set, r)
	j := &set.Judging
	rises := s.rise(set, drivers.SuctionPressure, r.Suction) > float64(j.SuctionRise) ||
		j.LevelRise > 0 && s.rise(set, drivers.GlycolLevel, r.Level) > float64(j.LevelRise)
	backwards := -s.rise(set, drivers.GlycolVolume, r.Volume) > float64(j.BackwardFlow)
	w.Reverse = alarm.KnownBool(rises || backwards)
}

// mostBackwards is more than flows through any pump of this kind, in cubic metres
// per second: it serves where nothing tells what this one delivers at most
// (common practice, no source).
const mostBackwards = 0.01

// zeroedFrom is the coarsest step of a totaliser, in cubic metres (common
// practice, no source).
const zeroedFrom = 0.1

// lookForZeroing takes a new reference of the totaliser when it fell by more than
// can have flowed since it was last read, or to nothing: somebody zeroed or
// replaced it.
func (s *State) lookForZeroing(set *Settings, r *standing60) {
	v, now := s.pointer(set, drivers.GlycolVolume), s.moment.At.SinceBoot
	if v == nil {
		return
	}
	if r.Read != nil && r.Volume != nil {
		most := max(float64(set.Counters.Totaliser.MaxFlow), mostBackwards)*(now-r.ReadAt).Seconds() + zeroedFrom
		if fell := *r.Read - *v; fell > most || fell > 0 && *v == 0 {
			*r.Volume = *v
		}
	}
	r.Read, r.ReadAt = v, now
}

// backwards lists what shows that something flows back through the pump.
func (s *State) backwards(set *Settings) (list []alarm.Evidence) {
	r, j := &s.Watch.Standing, &set.Judging
	add := func(key string, x, limit float64, d quantity.Dimension) {
		if limit > 0 && x > limit {
			list = append(list, alarm.Evidence{Key: key, Quantity: alarm.Quantity{Value: x, Dimension: d}})
		}
	}
	add("suction_rise", s.rise(set, drivers.SuctionPressure, r.Suction), float64(j.SuctionRise), quantity.Pressure)
	add("level_rise", s.rise(set, drivers.GlycolLevel, r.Level), float64(j.LevelRise), quantity.Share)
	add("volume_backwards", -s.rise(set, drivers.GlycolVolume, r.Volume), float64(j.BackwardFlow), quantity.Volume)
	return list
}

// pointer gives what a signal shows; nil when that is not known, or another pump
// runs that moves it too.
func (s *State) pointer(set *Settings, signal drivers.Signal) *float64 {
	if s.told().Told && s.notOwn(set, signal) {
		return nil
	}
	if v, ok := s.settled(set, signal); ok {
		return &v
	}
	return nil
}

// rise is how far the signal stands above a reference; 0 when either is not
// known.
func (s *State) rise(set *Settings, signal drivers.Signal, from *float64) float64 {
	v, ok := s.settled(set, signal)
	if !ok || from == nil {
		return 0
	}
	return v - *from
}
