package simulator

import (
	"math"
	"time"
)

// faults are the sizes of everything wrong with the machine, as they are now.
type faults struct {
	size [actionCount]float64            // of faults that belong to no single head
	head [actionCount][Cylinders]float64 // of heads' faults
	grow [actionCount][Cylinders]severity

	episode [2 * Cylinders]float64 // 1 while debris sits under a suction valve, then discharge valve
	foam    float64                // 0..1, wanders
	churned float64                // 0..1 of the air a low sump draws
	air     float64                // churned, in steps
	settled time.Duration          // nothing grows after this instant
}

func (a Action) ofHead() bool { return a >= SuctionValveLeak && a <= SeatBypass }

func (f *faults) set(e Event, now time.Duration) {
	j := 0
	if e.Do.ofHead() {
		j = e.Cylinder
	}
	f.grow[e.Do][j].set(e, now)
	f.settled = max(f.settled, now+e.Onset)
	f.refresh(now)
}

// refresh brings the sizes to now. It reports whether anything still moves.
func (f *faults) refresh(now time.Duration) {
	for a := SuctionValveLeak; a < actionCount; a++ {
		f.size[a] = f.grow[a][0].at(now)
		if a.ofHead() {
			for j := range Cylinders {
				f.head[a][j] = f.grow[a][j].at(now)
			}
		}
	}
}

func (f *faults) debris(valve int) float64 { return f.episode[valve] }

// wander draws the episodes of debris and the foam, and reports whether they
// changed. Debris sits under a valve for some of each two minutes; foam
// changes every second, in eighths.
func (f *faults) wander(seed uint64, now time.Duration) (changed bool) {
	before, foam := f.episode, f.foam
	for v := range f.episode {
		f.episode[v] = 0
		if f.dirty(v) && uniform(seed, streamDebris, int64(now/(2*time.Minute))*16+int64(v)) < 0.4 {
			f.episode[v] = 1
		}
	}
	f.foam = 0
	if f.size[Foam] > 0 || f.size[TankLow] > 0.5 {
		f.foam = math.Floor(8*uniform(seed, streamFoam, int64(now/time.Second))) / 8
	}
	return before != f.episode || foam != f.foam
}

// dirty reports whether debris can come under a valve: suction, then discharge.
func (f *faults) dirty(valve int) bool {
	if valve < Cylinders {
		return f.head[SuctionDebris][valve] > 0
	}
	return f.head[DischargeDebris][valve-Cylinders] > 0
}

// aerate lets air come into the oil of a low sump while the pump turns, and
// leave it at rest, over some minutes, in steps of a twentieth. It reports
// whether a step was made. It is called once a second.
func (f *faults) aerate(turning bool) bool {
	const minutes = 180
	goal := 0.0
	if turning {
		goal = f.size[OilLow]
	}
	before := f.air
	f.churned += (goal - f.churned) / minutes
	f.air = math.Round(20*f.churned) / 20
	return f.air != before
}
