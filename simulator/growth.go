package simulator

import (
	"math"
	"time"
)

// A wear is everything of a condition that faults change.
type wear struct {
	heads    [Cylinders]head
	piping   piping
	wobble   wobble
	reversed bool
}

// wearAt is the wear at an instant.
func (k *Skid) wearAt(at time.Duration) wear {
	f := &k.faults
	f.refresh(at)
	w := wear{
		piping: piping{
			tank:       float64(k.set.Head) * math.Min(1, f.size[TankLow]),
			strainer:   10e3 * f.size[StrainerPlugged],
			filter:     100e3 * f.size[FilterPlugged],
			bypass:     math.Min(1, f.size[BypassOpen]+f.size[ReliefPassing]),
			noGas:      f.size[DampenerLost],
			overcharge: f.size[DampenerOver],
			others:     k.othersFlow(),
		},
		wobble:   f.wobble(),
		reversed: k.reversed,
	}
	for j := range w.heads {
		w.heads[j] = f.worn(k.build[j], j)
	}
	return w
}

// othersFlow is what the other pumps of the header deliver, in twentieths of
// this pump's displacement.
func (k *Skid) othersFlow() float64 {
	sum := 0.0
	for _, other := range k.header {
		if other != k {
			sum += other.flow.delivered
		}
	}
	return math.Round(20*sum/k.rated) / 20 * k.rated
}

// grow takes over the faults when they have changed. A fault that grows is
// cut into pieces, within which the pressures change in a straight line.
func (u *full) grow(k *Skid, at time.Duration) {
	u.now = k.wearAt(at)
	u.nowID = u.intern(u.now)
	u.nextID, u.from, u.to = u.nowID, at.Seconds(), math.Inf(1)
	if at < k.faults.settled {
		if u.stale {
			u.piece = max((k.faults.settled-at)/growthPieces, 5*time.Second)
		}
		end := min(at+u.piece, k.faults.settled)
		u.next = k.wearAt(end)
		u.nextID, u.to = u.intern(u.next), end.Seconds()
		k.faults.refresh(at)
	}
	u.stale = false
}

func (u *full) intern(w wear) int32 {
	if len(u.wears) > mostCorners { // forget everything but the present
		clear(u.wears)
		clear(u.solved)
		u.oldest = nil
		u.nowID = u.intern(u.now)
	}
	id, ok := u.wears[w]
	if !ok {
		id = int32(len(u.wears))
		u.wears[w] = id
	}
	return id
}
