package trend

import (
	"math"
	"time"

	"pumpside/drivers"
)

// A Channel is a signal whose history is kept, and the name it is kept under.
// The name outlives the process: it must be the configuration's.
type Channel struct {
	Signal drivers.Signal
	Name   string
}

// Settings say how much is kept in memory.
type Settings struct {
	Recent time.Duration // how long seconds are kept; 0 takes an hour, less than 0 keeps none
}

// blockSpan is the length of a block of minutes or hours: shorter ones cost
// more flash, longer ones lose more with the power.
const blockSpan = 6 * time.Hour

// chunkSpan is the length of the pieces that seconds are kept and dropped in.
const chunkSpan = 5 * time.Minute

// tables is one more than the largest signal.
const tables = int(drivers.FirstAuxiliary) + drivers.MaxAuxiliary

// A State holds what is in memory of one pump's history. One goroutine owns
// it. The zero State keeps nothing.
type State struct {
	places [tables]uint8 // of a signal in the levels, plus one
	names  []string
	levels []level // minutes, hours and, unless there are none, seconds
	recent ring
	closed []*Block
	at     drivers.Instant
}

// New gives the State of a pump with those signals. Site-named ones beyond
// what a pump may have, and a second one of the same signal, are left out.
func New(channels []Channel, set Settings) State {
	var s State
	var keep []precision
	for _, c := range channels {
		if int(c.Signal) >= tables || c.Signal == drivers.NoSignal || s.places[c.Signal] != 0 {
			continue
		}
		s.names = append(s.names, c.Name)
		s.places[c.Signal] = uint8(len(s.names))
		keep = append(keep, precisionOf(c.Signal))
	}
	s.levels = []level{newLevel(Minute, blockSpan, keep), newLevel(Hour, blockSpan, keep)}
	if set.Recent == 0 {
		set.Recent = Second.Keep()
	}
	if set.Recent > 0 {
		s.levels = append(s.levels, newLevel(Second, chunkSpan, keep))
		s.recent.chunks = make([]chunk, (set.Recent+chunkSpan-1)/chunkSpan)
	}
	return s
}

// precisionOf: what only rises is looked at for its small steps.
func precisionOf(s drivers.Signal) precision {
	switch {
	case s == drivers.GlycolVolume, s == drivers.DriveRunHours:
		return counted
	case s < drivers.SignalCount && drivers.Signals[s].Kind == drivers.Count:
		return counted
	}
	return measured
}

// Step takes in the readings of b that are not bad. Batches of one boot come
// in the order of their instants; an earlier one is left out.
func (s *State) Step(b *drivers.Batch) {
	if b.At.Before(s.at) {
		return
	}
	s.at = b.At
	for i := range s.levels {
		s.roll(&s.levels[i])
	}
	var places [3]int32
	for i := range s.levels {
		places[i] = s.levels[i].place(&b.At)
	}
	for i := range b.Readings {
		r := &b.Readings[i]
		if r.Quality == drivers.Bad || r.Reason == drivers.Repeated || int(r.Signal) >= tables || s.places[r.Signal] == 0 ||
			math.IsNaN(r.Value) || math.IsInf(r.Value, 0) {
			continue
		}
		channel := s.places[r.Signal] - 1
		for k := range s.levels {
			s.levels[k].series[channel].add(places[k], r.Value)
		}
	}
}

// roll closes the open block of l if it ends before the State's instant.
func (s *State) roll(l *level) {
	if l.open && l.over(&s.at) {
		s.close(l)
	}
}

// close ends the open block of l: seconds go into the ring, the others to
// whoever stores them.
func (s *State) close(l *level) {
	count := l.flush()
	switch {
	case count == 0:
	case l.resolution == Second:
		s.recent.push(l, count)
	default:
		s.closed = append(s.closed, l.block(s.names, count))
	}
	l.restart()
}

// Close closes every block that is open, as for a stop of the agent. The State
// can be stepped on.
func (s *State) Close() {
	for i := range s.levels {
		s.close(&s.levels[i])
	}
}

// HasClosed reports whether blocks wait to be taken.
func (s *State) HasClosed() bool { return len(s.closed) > 0 }

// TakeClosed gives the blocks that were closed since it was last called, in
// the order they were. They are the caller's.
func (s *State) TakeClosed() []*Block {
	closed := s.closed
	s.closed = nil
	return closed
}

// InMemory gives what is in memory of one resolution, oldest first, as blocks
// of the caller's own: the block that is open and, of seconds, those of the
// last hour.
func (s *State) InMemory(r Resolution) []*Block {
	var list []*Block
	for i := range s.levels {
		l := &s.levels[i]
		if l.resolution != r {
			continue
		}
		if r == Second {
			list = s.recent.blocks(s.names, l)
		}
		if open := l.copy(); open != nil {
			list = append(list, open.block(s.names, open.flush()))
		}
	}
	return list
}

// recentBudget is the memory that the seconds of all pumps together may take,
// and recentBucket what one bucket takes (measured on signals of which a third
// is noisy).
const (
	recentBudget = 48 << 20
	recentBucket = 1.5
)

// RecentFor gives how long seconds can be kept of so many signals, all pumps
// together: an hour up to nine thousand of them, less beyond, never less than
// ten minutes.
func RecentFor(signals int) time.Duration {
	seconds := recentBudget / recentBucket / float64(max(signals, 1))
	return max(10*time.Minute, min(time.Duration(seconds)*time.Second, Second.Keep()).Truncate(time.Minute))
}
