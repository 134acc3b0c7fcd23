package rules

import (
	"time"

	"pumpside/drivers"
	"pumpside/rules/alarm"
)

// A faultWatch counts the times the drive went on by itself after a fault: a
// person needs longer to come, look and reset it. (Delays of auto-restart are
// seconds to minutes: common practice, no source.)
type faultWatch struct {
	Faulted bool             `json:"faulted,omitzero"`
	Since   time.Duration    `json:"since,omitzero"` // since boot
	At      [8]time.Duration `json:"at,omitzero"`    // the last ones, in a ring; since boot
	Count   uint64           `json:"count,omitzero"`
}

// lookAround keeps what tells why a pump stands.
func (w *watch) lookAround(set *Settings, s *State, running alarm.Known) {
	w.Habit.Watch(stands(running), s.moment.Watched)
	w.lookForPower(set, s, running)
	if s.moment.At.SinceBoot < w.Fault.Since { // another boot
		w.Fault = faultWatch{Count: w.Fault.Count}
	}
	w.Fault.step(s.faulted(set), running, s.moment.At.SinceBoot)
	w.LeakDown.step(set, s, running)
}

// ranOnAfter is how long a pump must have run without control power being seen
// until that is no loss: what tells of the drive may be as old as MaxGap.
const ranOnAfter = time.Minute

// lookForPower keeps whether control power is lost. Once seen lost it is until it
// is seen again, until the pump has run on without, or until no signal is left
// that could tell.
func (w *watch) lookForPower(set *Settings, s *State, running alarm.Known) {
	power := s.is(set, drivers.ControlPower)
	switch {
	case running != alarm.Yes || power == alarm.Yes:
		w.RanOn = 0
	case w.RanOn < ranOnAfter:
		w.RanOn += s.moment.Watched
	}
	switch {
	case power == alarm.Yes || w.ranOn() || !set.has(drivers.ControlPower):
		w.PowerLost = false
	case power == alarm.No:
		w.PowerLost = true
	}
}

// ranOn is whether the pump runs although control power is not seen.
func (w *watch) ranOn() bool { return w.RanOn >= ranOnAfter }

// stands turns an answer to "does it run?" round.
func stands(running alarm.Known) alarm.Known { return not(running) }

func (f *faultWatch) step(faulted, running alarm.Known, now time.Duration) {
	switch {
	case faulted == alarm.Yes && !f.Faulted:
		f.Faulted, f.Since = true, now
	case faulted == alarm.No && f.Faulted && running == alarm.Yes:
		if now-f.Since <= restartWithin {
			f.At[f.Count%uint64(len(f.At))] = now
			f.Count++
		}
		f.Faulted = false
	case faulted == alarm.No && f.Faulted && now-f.Since > restartWithin:
		f.Faulted = false
	}
}

// restarts counts those of the last 24 h, 8 standing for 8 or more.
func (w *watch) restarts(now time.Duration) (n int) {
	for i := range min(w.Fault.Count, uint64(len(w.Fault.At))) {
		if at := w.Fault.At[i]; at > 0 && now-at <= restartsLooked {
			n++
		}
	}
	return n
}
