package site

import (
	"encoding/json"
	"fmt"
	"slices"

	"pumpside/drivers"
	"pumpside/rules/alarm"
)

const stateVersion = 1

// Saved is what outlives the process.
type Saved struct {
	Version int             `json:"version"`
	Seq     uint64          `json:"seq"`
	Alarms  alarm.Memory    `json:"alarms"`
	Answers []deviceAnswers `json:"devices"`
	Groups  []groupMemory   `json:"groups,omitempty"`
	// Newest is the newest transition of each alarm that had one.
	Newest map[string]*alarm.Event `json:"newest,omitempty"`
}

type deviceAnswers struct {
	Device string `json:"device"`
	alarm.Answers
}

// A State is what the site remembers. One goroutine owns it.
type State struct {
	Saved
	busOf      []int             // place of the bus of each device
	devices    []alarm.Condition // of each device at the moment
	busDown    []bool
	several    []bool // the bus has more than one device
	views      []GroupView
	runs       [][]alarm.Known       // whether each pump of each group runs
	joints     [][][]alarm.Joint     // of each pump of each group
	carried    [][][]drivers.Carried // likewise
	conditions []alarm.Condition
	last       []*alarm.Event
	moment     alarm.Moment
	happened   []alarm.Event
}

// After is saved, nil for nothing, with a journal that has come as far as that
// already: the next entry is the one after it.
func (saved *Saved) After(seq uint64) *Saved {
	if saved == nil && seq > 0 {
		saved = &Saved{Version: stateVersion}
	}
	if saved != nil {
		saved.Seq = max(saved.Seq, seq)
	}
	return saved
}

// Start gives the State to begin with, as rules.Start does for a pump.
func Start(set *Settings, saved *Saved) (*State, []*alarm.Event) {
	s := &State{Saved: Saved{Version: stateVersion}}
	if saved != nil {
		s.Saved = *saved
	}
	s.fitDevices(set)
	s.fitGroups(set)
	s.conditions = make([]alarm.Condition, len(set.defs))
	s.last = make([]*alarm.Event, len(set.defs))
	for i := range set.defs {
		s.last[i] = s.Newest[set.defs[i].Name]
	}
	s.moment.At = s.Alarms.Clock.Last
	for _, name := range s.Alarms.Fit(set.defs) {
		s.happened = append(s.happened, alarm.Event{
			Kind: alarm.Recorded, At: s.moment.At, Alarm: "alarm_vanished", Text: "alarm_vanished", Subject: name,
			Class: alarm.Record, Notify: alarm.Never, Quality: drivers.Good,
		})
	}
	return s, s.flush(set)
}

func (s *State) fitDevices(set *Settings) {
	saved := s.Answers
	s.Answers = make([]deviceAnswers, len(set.Devices))
	s.busOf, s.devices = make([]int, len(set.Devices)), make([]alarm.Condition, len(set.Devices))
	s.busDown, s.several = make([]bool, len(set.Buses)), make([]bool, len(set.Buses))
	for i, d := range set.Devices {
		s.Answers[i].Device = d.ID
		if k := slices.IndexFunc(saved, func(a deviceAnswers) bool { return a.Device == d.ID }); k >= 0 {
			s.Answers[i] = saved[k]
		}
		s.busOf[i] = slices.Index(set.Buses, d.Bus)
	}
	for i, bus := range set.Buses {
		s.several[i] = set.devicesOn(bus) > 1
	}
}

// Step moves the site to the batch's instant and gives the new entries of its
// journal.
func Step(set *Settings, s *State, b *Batch) []*alarm.Event {
	s.moment = s.Alarms.Clock.Tick(b.At)
	for _, p := range b.Polls {
		s.Answers[p.Device].Polled(p.Answered)
	}
	s.listen()
	s.lookAt(set, b)
	for i := range set.judges {
		s.conditions[i] = set.judges[i](s, b)
	}
	s.oneCall(set)
	s.happened = s.Alarms.Step(set.defs, &s.moment, s.conditions, s.happened)
	for i := range b.Commands {
		s.happened = s.Alarms.Do(set.defs, &s.moment, &b.Commands[i], s.happened)
	}
	s.carry(set, len(b.Groups) > 0)
	return s.flush(set)
}

// listen judges each device, and each bus by its devices: a bus is down when
// it has several and none answers.
func (s *State) listen() {
	for i := range s.busDown {
		s.busDown[i] = s.several[i]
	}
	for i := range s.Answers {
		s.devices[i] = s.Answers[i].Judge(&s.moment)
		if s.devices[i].Holds != alarm.Yes {
			s.busDown[s.busOf[i]] = false
		}
	}
}

// lookAt takes in how the pumps of the groups stand. With no news time passes
// over what was known.
func (s *State) lookAt(set *Settings, b *Batch) {
	dark := len(b.Groups) > 0
	for i := range b.Groups {
		s.look(set, i, b.Groups[i])
		s.runs[i] = s.runs[i][:0]
		for k := range b.Groups[i] {
			s.runs[i] = append(s.runs[i], b.Groups[i][k].Running)
			s.joints[i][k] = b.Groups[i][k].Joints
		}
		dark = dark && s.Groups[i].Dark
	}
	if dark {
		s.moment.Logic |= alarm.PowerLost // devices that are silent now are no news
	}
}

func (s *State) flush(set *Settings) []*alarm.Event {
	if len(s.happened) == 0 {
		return nil
	}
	events := make([]*alarm.Event, len(s.happened))
	for i := range s.happened {
		e := s.happened[i]
		s.Seq++
		e.Seq = s.Seq
		s.surround(set, &e)
		events[i] = &e
		for k := range set.defs {
			if set.defs[k].Name == e.Alarm && e.Kind != alarm.Refused {
				s.last[k] = &e
			}
		}
	}
	s.happened = s.happened[:0]
	return events
}

// Marshal gives the saved form of s as JSON.
func (s *State) Marshal() ([]byte, error) {
	s.Newest = make(map[string]*alarm.Event, len(s.last))
	for _, e := range s.last {
		if e != nil {
			s.Newest[e.Alarm] = e
		}
	}
	return json.Marshal(&s.Saved)
}

// A Snapshot is what others may see of the site.
type Snapshot struct {
	At      drivers.Instant `json:"at"`
	Seq     uint64          `json:"seq"`
	Alarms  []alarm.View    `json:"alarms"`
	Devices []DeviceView    `json:"devices"`
	Groups  []GroupView     `json:"groups,omitempty"` // in the order of the Settings

	runs    [][]alarm.Known
	carried [][][]drivers.Carried
}

// A DeviceView is whether one device answers.
type DeviceView struct {
	Device string      `json:"device"`
	Bus    string      `json:"bus"`
	Up     alarm.Known `json:"up"`
}

// Snapshot copies what others may see out of the state.
func (s *State) Snapshot(set *Settings) *Snapshot {
	snap := &Snapshot{At: s.moment.At, Seq: s.Seq, Alarms: make([]alarm.View, len(set.defs)), Devices: make([]DeviceView, len(set.Devices))}
	for i := range set.defs {
		snap.Alarms[i] = s.Alarms.Alarms[i].View(&set.defs[i], s.moment.At, s.last[i])
	}
	for i, d := range set.Devices {
		a := &s.Answers[i]
		up := alarm.Unknown
		if a.Missed > 0 || a.Good > 0 {
			up = alarm.KnownBool(a.Missed == 0)
		}
		snap.Devices[i] = DeviceView{Device: d.ID, Bus: d.Bus, Up: up}
	}
	for i := range s.views {
		v := s.views[i]
		v.Standby = slices.Clone(v.Standby)
		snap.Groups, snap.runs = append(snap.Groups, v), append(snap.runs, slices.Clone(s.runs[i]))
		snap.carried = append(snap.carried, slices.Clone(s.carried[i]))
	}
	return snap
}

// Unmarshal reads what Marshal gave.
func Unmarshal(text []byte) (*Saved, error) {
	var saved Saved
	if err := json.Unmarshal(text, &saved); err != nil {
		return nil, fmt.Errorf("state of the site: %w", err)
	}
	if saved.Version != stateVersion {
		return nil, fmt.Errorf("state of the site has version %d, this agent knows %d", saved.Version, stateVersion)
	}
	return &saved, nil
}
