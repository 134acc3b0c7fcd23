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
	places  [tables]uint8 // of a signal in the levels, plus one
	names   []string
	seconds level
	minutes level
	hours   level // made of finished minutes; its blocks begin and end with theirs
	recent  ring  // empty when no seconds are kept
	closed  []*Block
	at      drivers.Instant
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
	s.seconds = newLevel(Second, chunkSpan, keep)
	s.minutes = newLevel(Minute, blockSpan, keep)
	s.hours = newLevel(Hour, blockSpan, keep)
	if set.Recent == 0 {
		set.Recent = Second.Keep()
	}
	if set.Recent > 0 {
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
	s.roll()
	second, minute := s.seconds.place(&b.At), s.minutes.place(&b.At)
	s.hours.place(&b.At)
	keepSeconds := len(s.recent.chunks) > 0
	for i := range b.Readings {
		r := &b.Readings[i]
		if r.Quality == drivers.Bad || r.Reason == drivers.Repeated || int(r.Signal) >= tables || s.places[r.Signal] == 0 ||
			math.IsNaN(r.Value) || math.IsInf(r.Value, 0) {
			continue
		}
		k := int(s.places[r.Signal] - 1)
		if keepSeconds {
			s.seconds.add(k, second, r.Value, nil)
		}
		s.minutes.add(k, minute, r.Value, &s.hours)
	}
}

// roll closes the blocks that end before the State's instant.
func (s *State) roll() {
	if s.seconds.over(&s.at) {
		s.closeSeconds()
	}
	if s.minutes.over(&s.at) {
		s.closeBlocks()
	}
}

func (s *State) closeSeconds() {
	if count := s.seconds.flush(nil); count > 0 {
		s.recent.push(&s.seconds, count)
	}
	s.seconds.restart()
}

func (s *State) closeBlocks() {
	for _, b := range openBlocks(s.names, &s.minutes, &s.hours) {
		if b.Count > 0 {
			s.closed = append(s.closed, b)
		}
	}
	s.minutes.restart()
	s.hours.restart()
}

// openBlocks ends the buckets being filled and gives both blocks.
func openBlocks(names []string, minutes, hours *level) [2]*Block {
	count := minutes.flush(hours)
	return [2]*Block{minutes.block(names, count), hours.block(names, hours.flush(nil))}
}

// Close closes every block that is open, as for a stop of the agent. The State
// can be stepped on.
func (s *State) Close() {
	s.closeSeconds()
	s.closeBlocks()
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
	seconds, minutes, hours := s.seconds.copy(), s.minutes.copy(), s.hours.copy()
	both := openBlocks(s.names, &minutes, &hours)
	var list []*Block
	open := both[0]
	switch r {
	case Second:
		list = s.recent.blocks(s.names, &s.seconds)
		open = seconds.block(s.names, seconds.flush(nil))
	case Hour:
		open = both[1]
	}
	if open.Count > 0 {
		list = append(list, open)
	}
	return list
}

// recentBudget is the memory that the seconds of all pumps together may take,
// and recentBucket what one bucket takes (measured on signals of which a third
// is noisy).
const (
	recentBudget = 24 << 20
	recentBucket = 1.5
)

// RecentFor gives how long seconds can be kept of so many signals, all pumps
// together: an hour up to four and a half thousand of them, less beyond, never less than
// ten minutes.
func RecentFor(signals int) time.Duration {
	seconds := recentBudget / recentBucket / float64(max(signals, 1))
	return max(10*time.Minute, min(time.Duration(seconds)*time.Second, Second.Keep()).Truncate(time.Minute))
}
