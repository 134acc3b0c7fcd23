package rules

import (
	"fmt"
	"hash/fnv"
	"slices"

	"pumpside/drivers"
	"pumpside/rules/diagnosis"
	"pumpside/rules/pump"
	"pumpside/rules/service"
)

// machine tells by a short text which pump was learned: its geometry with
// index and mechanism, and what damps and delays the pressure's number. A pump
// configured otherwise has other bands, angles and amplitudes.
func (set *Settings) machine() string {
	g := set.Geometry
	if g.Cylinder1 != "" {
		g.Cylinder1 = "stated" // the words may be put better
	}
	h := fnv.New64a()
	fmt.Fprintf(h, "%v", g)
	if i, ok := set.place(drivers.DischargePressure); ok {
		fmt.Fprintf(h, " %v %v", set.Signals[i].Path, set.Signals[i].UpdatePeriod)
	}
	return fmt.Sprintf("%016x", h.Sum64())
}

// recognize forgets all that was learned of a pump that was configured
// otherwise, the line too: its angles count from another place, or it was seen
// through another transmitter.
func (s *State) recognize(set *Settings) {
	was := s.Observed.Machine
	s.Observed.Machine = set.machine()
	if was == "" || was == s.Observed.Machine {
		return
	}
	knew := s.Observed.Learned || len(s.Observed.Line.Points) > 0
	s.Observed = Observed{Machine: s.Observed.Machine, Service: s.Observed.Service, Unconfirmed: s.Observed.Unconfirmed}
	if knew {
		s.record("baseline_forgotten", "")
	}
}

// confirm learns the line from a valve that was found where a record says,
// while the diagnosis held that one head lost flow; a record that is undone
// takes back what it taught.
func (s *State) confirm(set *Settings, r *drivers.ServiceRecord) {
	o, e := &s.observer, &r.Entry
	if e.Undoes > 0 {
		s.Observed.Line.Withdraw(e.Undoes)
		return
	}
	i := slices.IndexFunc(set.Tasks, func(t service.Task) bool { return t.Name == e.Task })
	if i < 0 || set.Tasks[i].Kind != service.Valves || !service.Found(e.Found).Failed() || o.ranking == nil || !o.oneHead || e.LineChanged {
		return
	}
	at := pump.Position{Cylinder: e.Cylinder}
	if at.Side.UnmarshalText([]byte(e.Side)) != nil {
		return
	}
	evidence := o.evidence(set, s)
	if p, ok := o.model.Confirmed(&evidence, at, o.ranking.Leak); ok {
		s.Observed.Line.Confirm(p, r.Number)
		s.record("line_confirmed", e.Task)
	}
}

// doubtIndex withholds naming when the ripple has turned for so long that the
// index, or the rotation, must be another than was stated.
func (s *State) doubtIndex() {
	o := &s.observer
	if c := o.ranking.Causes[0]; !o.visit || s.Observed.Unconfirmed || c.Cause != diagnosis.IndexMoved || c.Probability < 0.5 {
		return
	}
	s.Observed.Unconfirmed = true
	s.record("index_moved", "")
}
