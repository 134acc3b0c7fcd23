package modbus

import "time"

// Facts are what a bus has lived through. Counts only grow.
type Facts struct {
	Open      bool   // there is a connection, or the device path is open
	Opened    uint64 // times it was opened
	Requests  uint64 // frames sent
	Answers   uint64 // whole and right, refusals included
	Faults    [reasonCount]uint64
	Stray     uint64 // bytes nobody asked for
	LateFrame uint64 // whole answers that came after their request was given up

	Busy           time.Duration // spent in transactions, waits after a fault included
	LastDuration   time.Duration // first byte of the last answered request to the last of its answer
	LastTurnaround time.Duration // end of the last request to the first byte of its answer
}

// FaultCount returns how many reads failed for reason r.
func (f Facts) FaultCount(r Reason) uint64 { return f.Faults[r] }

// UnitFacts are what is known of one unit.
type UnitFacts struct {
	Failures      int       // in a row, 0 after an answer
	RetryAt       time.Time // it is not asked before; zero when it is asked freely
	Answers       int
	SlowestAnswer time.Duration // end of a request to the first byte, late answers included
	LateLimit     time.Duration // the silence kept after a fault of this unit on an RTU line
}

// Facts returns a copy of the bus's facts. Only the owner of b may call it.
func (b *Bus) Facts() Facts {
	f := b.wire.facts
	f.Open = b.wire.link != nil
	return f
}

// UnitFacts returns what is known of one unit; the zero value, but for its
// late limit, if it was never asked. Only the owner of b may call it.
func (b *Bus) UnitFacts(unit byte) UnitFacts {
	u := b.units[unit]
	if u == nil {
		return UnitFacts{LateLimit: b.settings.LateLimit}
	}
	return UnitFacts{
		Failures:      u.health.failures,
		RetryAt:       u.health.retryAt,
		Answers:       u.late.answers,
		SlowestAnswer: u.late.slowest,
		LateLimit:     u.late.limit(&b.settings),
	}
}
