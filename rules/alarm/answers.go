package alarm

import "time"

// A device is silent after three missed polls in a row and at least 30 s, and
// answers again after two good ones.
const (
	missedPolls   = 3
	silentAtLeast = 30 * time.Second
	goodPolls     = 2
)

// Answers judges whether a device or a bus answers. The zero Answers knows
// nothing.
type Answers struct {
	Missed  int           `json:"missed,omitzero"` // polls in a row
	Good    int           `json:"good,omitzero"`   // polls in a row, up to two
	Silence time.Duration `json:"silence,omitzero"`
	Silent  bool          `json:"silent,omitzero"`
}

// Polled notes one finished poll.
func (a *Answers) Polled(answered bool) {
	if !answered {
		a.Missed, a.Good = a.Missed+1, 0
		return
	}
	a.Missed = 0
	a.Good = min(a.Good+1, goodPolls)
	if !a.Silent || a.Good == goodPolls {
		a.Silent, a.Silence = false, 0
	}
}

// Judge lets time go by and gives the condition of the device's alarm, whose
// delays are zero: they are in here. Call it at every moment.
func (a *Answers) Judge(now *Moment) Condition {
	if a.Missed > 0 {
		a.Silence += now.Watched
	}
	if a.Missed >= missedPolls && a.Silence >= silentAtLeast {
		a.Silent = true
	}
	if a.Missed == 0 && a.Good == 0 {
		return Condition{}
	}
	return Judged(KnownBool(a.Silent))
}
