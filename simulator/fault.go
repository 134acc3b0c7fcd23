package simulator

import "time"

// faults are the sizes of everything wrong with the machine, as they are now.
type faults struct {
	size [actionCount]float64            // of faults that belong to no single head
	head [actionCount][Cylinders]float64 // of heads' faults
	grow [actionCount][Cylinders]severity

	episode [2 * Cylinders]float64 // 1 while debris sits under a suction valve, then discharge valve
	foam    float64                // 0..1, wanders
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

// wander draws the episodes of debris and the foam. Debris sits under a valve
// for some of each two minutes; foam changes every second.
func (f *faults) wander(seed uint64, now time.Duration) {
	for v := range f.episode {
		f.episode[v] = 0
		if uniform(seed, streamDebris, int64(now/(2*time.Minute))*16+int64(v)) < 0.4 {
			f.episode[v] = 1
		}
	}
	f.foam = uniform(seed, streamFoam, int64(now/time.Second))
}

// erratic reports whether some fault changes from second to second.
func (f *faults) erratic() bool {
	if f.size[Foam] > 0 {
		return true
	}
	for j := range Cylinders {
		if f.head[SuctionDebris][j] > 0 || f.head[DischargeDebris][j] > 0 {
			return true
		}
	}
	return false
}
