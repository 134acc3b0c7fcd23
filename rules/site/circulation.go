package site

import (
	"pumpside/drivers"
	"pumpside/drivers/quantity"
	"pumpside/rules/alarm"
)

// A GroupView is how the circulation of one group stands at a moment.
type GroupView struct {
	Group      string      `json:"group"`
	Pumps      int         `json:"pumps"`
	Required   int         `json:"required"`
	Running    int         `json:"running"`
	Delivering int         `json:"delivering"`
	Perhaps    int         `json:"perhaps"` // may deliver, nobody can tell
	Dry        int         `json:"dry"`     // run and deliver nothing
	Spare      int         `json:"spare"`   // beyond those required: running too, or ready to start
	SpareSeen  bool        `json:"spare_seen"`
	Wanted     alarm.Known `json:"wanted"`    // glycol is
	WantedBy   string      `json:"wanted_by"` // run_demand, gas_flow, drive_fault, habit or not_known
	Gas        alarm.Known `json:"gas"`
	Power      alarm.Known `json:"power"` // of any pump
	Moves      alarm.Known `json:"moves"` // as many pumps deliver as are required

	Flow      quantity.CubicMetersPerSecond `json:"flow"` // of all together, only with FlowKnown
	FlowKnown bool                          `json:"flow_known"`
	Target    quantity.CubicMetersPerSecond `json:"target"`    // 0 for none, or not known
	TargetBy  string                        `json:"target_by"` // gas, setting or not_known

	Needed Need `json:"needed"` // what the targets have added up to since the first

	Backwards int `json:"backwards"` // pumps that something flows back through

	Standby []drivers.Standby `json:"standby"` // of the others, seen from each pump
	unseen  int               // nobody knows whether they run
	unread  int               // run, and their meter cannot be read
	back    int               // place of the last that something flows back through
	missing int               // place of the only pump that stands, below 0 when it is not one
	needs   needs

	backUnseen bool // of one at least nobody can tell
}

// Where the answer to "is glycol wanted?" comes from.
const (
	wantedByDemand = "run_demand"
	wantedByGas    = "gas_flow"
	wantedByTrip   = "drive_fault"
	wantedByHabit  = "habit"
	wantedUnknown  = "not_known"
)

// look folds the pumps of group i into its view, and lets its memory go on.
func (s *State) look(set *Settings, i int, pumps []Pump) {
	g, m, v := &set.Groups[i], &s.Groups[i], &s.views[i]
	standby := v.Standby
	*v = GroupView{Group: g.ID, Pumps: len(g.Pumps), Required: g.Required, Standby: standby}
	v.Target, v.TargetBy = g.target(pumps)
	v.count(g, pumps)
	v.Power = m.power(pumps)
	v.Moves = v.moves()
	s.rests(g, m, v)
	v.Wanted, v.WantedBy = wanted(g, m, v, pumps, m.tripped(v, pumps))
	m.exercise(pumps, s.moment.Elapsed)
	m.share(g, pumps, s.moment.At)
	m.Needs.pass(v, s.moment.At, s.moment.Watched)
	v.needs, v.Needed = m.Needs, m.Needs.Now
	for k := range standby {
		standby[k] = standbyOf(pumps, k, g.Required)
	}
}

// count adds up what the pumps tell.
func (v *GroupView) count(g *Group, pumps []Pump) {
	ready, unsure, own := 0, 0, true
	v.Gas, v.missing = gasOf(pumps), nobody
	for k := range pumps {
		p := &pumps[k]
		add(&v.Running, p.Running)
		add(&v.Delivering, p.Delivering)
		v.missing = lone(v.missing, k, p.Running)
		if p.Running == alarm.Yes && p.Delivering == alarm.No {
			v.Dry++
		}
		if p.Delivering == alarm.Unknown {
			v.Perhaps++
			add(&v.unread, p.Running)
		}
		if p.Running == alarm.Unknown {
			v.unseen++
		}
		switch p.Backwards {
		case alarm.Yes:
			v.Backwards++
			v.back = k
		case alarm.Unknown:
			v.backUnseen = true
		}
		add(&ready, p.Available)
		if p.Available == alarm.Unknown {
			unsure++
		}
		v.meter(p, &own)
	}
	v.Spare, v.SpareSeen = max(ready-g.Required, 0), ready > g.Required || unsure == 0
	v.FlowKnown = v.FlowKnown && own
	for k := range pumps {
		if p := &pumps[k]; p.FlowShared && p.FlowKnown { // the header's meter speaks for all
			v.Flow, v.FlowKnown = p.Flow, true
			switch {
			case p.Flow < g.NoFlow:
				v.Delivering, v.Perhaps, v.Dry = 0, 0, v.Running
			case v.Delivering == 0 && v.Perhaps > 0: // one of them does
				v.Delivering, v.Perhaps = 1, v.Perhaps-1
			}
		}
	}
}

// meter adds the flow of a pump's own meter. Where one that may run has none
// that can be read, the sum is not known.
func (v *GroupView) meter(p *Pump, own *bool) {
	switch {
	case p.FlowShared:
	case p.FlowKnown:
		v.Flow += p.Flow
		v.FlowKnown = true
	case p.Running != alarm.No:
		*own = false
	}
}

// Of missing while the pumps are gone through.
const (
	nobody  = -1
	several = -2
)

// lone is the place of the only pump that stands.
func lone(was, k int, runs alarm.Known) int {
	switch {
	case runs != alarm.No:
		return was
	case was == nobody:
		return k
	}
	return several
}

func add(n *int, k alarm.Known) {
	if k == alarm.Yes {
		*n++
	}
}

// either is Yes as soon as one is, and No when one is and none is Yes.
func either(a, b alarm.Known) alarm.Known { return max(a, b) }

// gasOf is No only when every pump with a meter says so: the meter of a pump
// that stands may show nothing while that of the other, which is bad, has the
// gas.
func gasOf(pumps []Pump) (gas alarm.Known) {
	blind := false
	for k := range pumps {
		gas = either(gas, pumps[k].Gas)
		blind = blind || pumps[k].GasMetered && pumps[k].Gas == alarm.Unknown
	}
	if gas == alarm.No && blind {
		return alarm.Unknown
	}
	return gas
}

func (v *GroupView) moves() alarm.Known {
	switch {
	case v.Delivering >= v.Required:
		return alarm.Yes
	case v.Delivering+v.Perhaps >= v.Required:
		return alarm.Unknown
	}
	return alarm.No
}

// power is No once every pump has told that its control power is gone, until
// one tells that it is back, or is seen and tells of no loss.
func (m *groupMemory) power(pumps []Pump) alarm.Known {
	seen, lost, lit := alarm.Unknown, len(pumps) > 0, false
	for k := range pumps {
		seen = either(seen, pumps[k].Power)
		lost = lost && pumps[k].Power == alarm.No
		lit = lit || powerless(&pumps[k]) == alarm.No
	}
	switch {
	case lost:
		m.Dark = true
	case lit:
		m.Dark = false
	}
	if m.Dark {
		return alarm.No
	}
	return seen
}

// rests keeps how long too few have delivered, and the habit of it.
func (s *State) rests(_ *Group, m *groupMemory, v *GroupView) {
	stands := alarm.Unknown
	switch {
	case v.Gas == alarm.No && v.Moves != alarm.Yes:
		m.Rests = 0 // nothing is missed: no pause to count, and no habit
		return
	case v.Moves == alarm.Yes:
		stands, m.Rests = alarm.No, 0
	case v.Moves == alarm.No:
		stands = alarm.Yes
		m.Rests += s.moment.Watched
	}
	m.Habit.Watch(stands, s.moment.Watched)
}

// tripped reports whether a fault took away a pump that ran when glycol last
// moved.
func (m *groupMemory) tripped(v *GroupView, pumps []Pump) (yes bool) {
	for k := range pumps {
		if v.Moves == alarm.Yes {
			m.Idle[k].Duty = pumps[k].Running == alarm.Yes
		}
		yes = yes || m.Idle[k].Duty && pumps[k].Faulted
	}
	return yes && v.Moves == alarm.No
}

// wanted answers whether glycol must move now, and by what. Gas that flows
// wants it, but for the pauses that batch control makes; a pump that runs without
// flow makes none, nor does one that tripped.
func wanted(g *Group, m *groupMemory, v *GroupView, pumps []Pump, tripped bool) (alarm.Known, string) {
	asked, off := demand(pumps)
	pause := g.Pause
	if pause == 0 && off {
		pause = defaultPause
	}
	switch {
	case asked == alarm.Yes:
		return alarm.Yes, wantedByDemand
	case v.Gas == alarm.Yes && (m.Rests >= pause || v.Dry > 0 || tripped && !off):
		return alarm.Yes, wantedByGas
	case v.Gas == alarm.No:
		return alarm.No, wantedByGas
	case off:
		return alarm.No, wantedByDemand
	case tripped:
		return alarm.Yes, wantedByTrip
	case v.Gas == alarm.Yes:
		return alarm.No, wantedByGas // within the pause
	}
	switch m.Habit.Unusual() {
	case alarm.Yes:
		return alarm.Yes, wantedByHabit
	case alarm.No:
		return alarm.No, wantedByHabit
	}
	return alarm.Unknown, wantedUnknown
}

// demand is whether anything asks for glycol, and whether it is known that
// nothing does: by the group's own demand or else by those of all its pumps.
func demand(pumps []Pump) (asked alarm.Known, off bool) {
	group, own := alarm.Unknown, true
	for k := range pumps {
		group = either(group, pumps[k].GroupAsked)
		asked = either(asked, pumps[k].Asked)
		own = own && pumps[k].Asked == alarm.No
	}
	if group != alarm.Unknown {
		return group, group == alarm.No
	}
	return asked, own
}

// standbyOf is how the others stand behind pump k. Where all are required none
// stands behind another, and those that run are no standby until they are as
// many as are required.
func standbyOf(pumps []Pump, k, required int) drivers.Standby {
	if len(pumps) <= required {
		return drivers.StandbyNone
	}
	runs, ready, unsure := 0, false, false
	for j := range pumps {
		if j == k {
			continue
		}
		p := &pumps[j]
		add(&runs, p.Running)
		ready = ready || p.Available == alarm.Yes && p.Running != alarm.Yes
		unsure = unsure || p.Available == alarm.Unknown
	}
	switch {
	case runs >= required:
		return drivers.StandbyRunning
	case ready:
		return drivers.StandbyAvailable
	case unsure:
		return drivers.StandbyUnknown
	}
	return drivers.StandbyNotAvailable
}

// Behind is what stands behind the circulation as a whole.
func (v *GroupView) Behind() drivers.Standby {
	switch {
	case v.Pumps <= v.Required:
		return drivers.StandbyNone
	case v.Running > v.Required:
		return drivers.StandbyRunning
	case v.Spare > 0:
		return drivers.StandbyAvailable
	case !v.SpareSeen:
		return drivers.StandbyUnknown
	}
	return drivers.StandbyNotAvailable
}

// Seen gives what a pump is told of its group; the zero Group for one that is
// in none.
func (snap *Snapshot) Seen(set *Settings, pump string) drivers.Group {
	i, place, ok := set.GroupOf(pump)
	if !ok || snap.At.IsZero() {
		return drivers.Group{}
	}
	g := snap.Groups[i].seen(place, snap.runs[i][place])
	g.Carried = snap.carried[i][place]
	return g
}

// Seen is what Snapshot.Seen gives, as of the newest step.
func (s *State) Seen(set *Settings, pump string) drivers.Group {
	i, place, ok := set.GroupOf(pump)
	if !ok || s.moment.At.IsZero() {
		return drivers.Group{}
	}
	g := s.views[i].seen(place, s.runs[i][place])
	g.Carried = s.carried[i][place]
	return g
}

// seen leaves the pump itself out of what is counted.
func (v *GroupView) seen(place int, running alarm.Known) drivers.Group {
	g := drivers.Group{Told: true, Others: v.Pumps - 1, Running: v.Running, Unseen: v.unseen, Required: v.Required, Standby: v.Standby[place]}
	switch running {
	case alarm.Yes:
		g.Running--
	case alarm.Unknown:
		g.Unseen--
	}
	return g
}
