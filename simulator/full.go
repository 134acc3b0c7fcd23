package simulator

import (
	"math"
	"time"
)

// The Full detail has two ways to the pressure of an instant.
//
// While the speed changes, and for some seconds after, the circuit is
// integrated through every tick and sampled each millisecond.
//
// At steady speed the pressure repeats with the shaft: the periodic state is
// solved at the corners of a grid of conditions and looked up by angle. The
// pump is nearly always between corners, so the corners around it are
// averaged: the weights of Kuhn's simplex need only one corner more than
// there are coordinates, and are continuous across the grid.

// A full is the Full detail of one skid.
type full struct {
	solved map[corner]*solution
	oldest []corner
	wears  map[wear]int32

	now, next wear    // faults now and at the end of their present piece of growth
	nowID     int32   // of now
	nextID    int32   // of next
	from, to  float64 // s, the piece
	piece     time.Duration
	stale     bool // the faults have changed but by growing

	circuit *circuit // last used, to start the next from
	live    bool     // circuit is the pump's own state at this instant
	wearID  int32    // of circuit
	calm    float64  // s since the speed last changed
	lagged  [2]path
	flow    float64 // m³/s in the present tick
	spilled float64
	torque  float64 // N·m on the plungers
	mean    float64 // Pa of the discharge pressure above the vessel's
}

const (
	calmAfter    = 3.0 // s of steady speed until the periodic state is there
	mostCorners  = 400
	liveSamples  = 20 // in a tick
	growthPieces = 24 // in the onset of a fault
)

func newFull() *full {
	return &full{solved: map[corner]*solution{}, wears: map[wear]int32{}, stale: true}
}

// step settles flow and pressures of the present tick into p.
func (u *full) step(k *Skid, p *glance) {
	at := k.now()
	if u.stale || at.Seconds() >= u.to || u.now.piping.others != k.othersFlow() {
		u.grow(k, at)
	}
	turning := math.Abs(k.shaftSpeed)
	p.used, p.live, p.cavity = 0, false, 0
	u.flow, u.spilled, u.torque, u.mean = 0, 0, 0, 0
	u.calm += tickSeconds
	if !k.drive.steady() || turning == 0 {
		u.calm = 0
	}
	switch {
	case turning == 0:
		u.live = false
	case u.calm < calmAfter && k.ticks > 0:
		u.integrate(k, p)
	default:
		u.live = false
		u.mix(k, p)
	}
}
