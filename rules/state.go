package rules

import (
	"encoding/json"
	"fmt"
	"slices"
	"time"

	"pumpside/drivers"
	"pumpside/rules/alarm"
	"pumpside/rules/counters"
	"pumpside/rules/service"
	"pumpside/rules/trend"
)

// stateVersion is that of [Saved].
const stateVersion = 1

// A State is all that is remembered of one pump. One goroutine owns it and
// updates it in place; others get [State.Snapshot].
type State struct {
	Saved
	Trend trend.State

	latest     []latest // by place in Settings.Signals
	slopes     []alarm.Slope
	moment     alarm.Moment
	heard      bool          // something was read since the start
	group      drivers.Group // as last told
	groupAt    drivers.Instant
	operation  Operation       // at the moment
	status     counters.Status // at the moment
	totals     counters.Totals // at the moment
	conditions []alarm.Condition
	last       []*alarm.Event // newest transition of each alarm, by place
	counted    []counters.Event
	happened   []alarm.Event
	unjudged   alarm.Moment  // Elapsed and Watched since the alarms were judged last
	judgedAt   time.Duration // when that was, since boot
	captured   []*Capture
	changes    []Change
	observer   observer
	seenAt     drivers.Instant  // when it was last known whether the pump runs
	returned   drivers.Instant  // when that was first known again after an outage
	undated    bool             // a record of the ledger has no date yet
	score      service.Score    // of the ledger
	oilUse     *service.OilUse  // likewise; nil while there are too few top-ups
	lives      []taskLife       // by place in Settings.Tasks, at the moment
	outlook    *service.Outlook // of the days up to outlookDay
	outlookDay int64
}

// Saved is the part of a State that outlives the process: versioned, and keyed
// by names, so that a changed configuration finds its own again.
type Saved struct {
	Version  int                 `json:"version"`
	Seq      uint64              `json:"seq"` // of the last journal entry
	Counters counters.State      `json:"counters"`
	Alarms   alarm.Memory        `json:"alarms"`
	Tasks    []service.TaskState `json:"tasks"`             // in the order of Settings.Tasks
	Opening  *drivers.Opening    `json:"opening,omitempty"` // as configured when it was saved; nil is not known
	Worn     service.Totals      `json:"worn"`              // up to where the tasks' own meters have counted
	Duty     service.Duty        `json:"duty"`
	Watch    watch               `json:"watch"`
	Marks    marks               `json:"marks,omitzero"`
	Last     lastService         `json:"last_service,omitzero"`
	Commands []string            `json:"commands,omitempty"` // ids lately carried out
	// Repair is the last work whose effect was or is being judged.
	Repair followedRepair `json:"repair,omitzero"`
	// Observed is what was learned of the pump's condition.
	Observed Observed `json:"observed,omitzero"`
	// Ledger is every service record of the pump. It is kept apart from the
	// rest, in the store's ledger, and comes from there.
	Ledger []drivers.ServiceRecord `json:"-"`
	// Dated is when work was done that was recorded while the clock was not
	// set, by the record's number.
	Dated map[int]drivers.Instant `json:"dated,omitempty"`
	// Seen is how the pump stood when that was last known.
	Seen Seen `json:"seen,omitzero"`
	// Newest is the newest transition of each alarm that had one.
	Newest map[string]*alarm.Event `json:"newest,omitempty"`
}

// A Seen is how a pump stood at a moment. The zero Seen is never.
type Seen struct {
	Mode     Mode            `json:"mode"`
	At       drivers.Instant `json:"at"`
	For      time.Duration   `json:"for,omitempty"`       // it had run or stood for so long
	WantedBy string          `json:"wanted_by,omitempty"` // what told whether it should run
}

// lastService is what was last recorded, for alerts.
type lastService struct {
	Task   string         `json:"task"`
	By     string         `json:"by"`
	Totals service.Totals `json:"totals"`
}

// rememberedCommands is how many command ids are kept to refuse repeats.
const rememberedCommands = 64

// OnlyCounters is a Saved with nothing but its counters to fill in: what is
// left of a pump when only its counters were saved.
func OnlyCounters() *Saved { return &Saved{Version: stateVersion} }

// A Change is one thing that follows from a step: a journal entry, a closed
// block of history or a capture; exactly one is set.
type Change struct {
	Event   *alarm.Event `json:"event,omitempty"`
	Block   *trend.Block `json:"block,omitempty"`
	Capture *Capture     `json:"capture,omitempty"`
}

// Start gives the State to begin with: what was saved, brought into the order
// of the settings. Alarms and tasks the settings do not know any more are
// journalled; new ones begin at zero. A nil saved is a pump never seen.
func Start(set *Settings, saved *Saved) (*State, []Change) {
	s := &State{Saved: Saved{Version: stateVersion}}
	if saved != nil {
		s.Saved = *saved
	}
	s.latest = make([]latest, len(set.Signals))
	s.lives = make([]taskLife, len(set.Tasks))
	s.conditions = make([]alarm.Condition, len(set.defs))
	s.last = make([]*alarm.Event, len(set.defs))
	s.slopes = make([]alarm.Slope, len(set.defs))
	for i := range set.defs {
		s.last[i] = s.Newest[set.defs[i].Name]
		if rule := set.defs[i].Rule; rule.By == alarm.ByRate {
			s.slopes[i] = alarm.NewSlope(rule.Over)
		}
	}
	s.Trend = trend.New(set.channels(), set.Trend)
	s.moment.At = s.Alarms.Clock.Last
	s.totals = s.Counters.Totals(&set.Counters)
	s.redate()
	s.correctOpening(set)
	for _, name := range s.Alarms.Fit(set.defs) {
		s.record("alarm_vanished", name)
	}
	for _, name := range s.fitTasks(set) {
		s.record("task_vanished", name)
	}
	s.doubtAhead()
	return s, s.flush(set)
}

// fitTasks brings the tasks into the order of the settings, and gives the names
// of those the settings do not know any more.
func (s *State) fitTasks(set *Settings) (vanished []string) {
	saved := s.Tasks
	s.Tasks = make([]service.TaskState, len(set.Tasks))
	for i, t := range set.Tasks {
		s.Tasks[i].Task = t.Name
	}
	for _, old := range saved {
		i := slices.IndexFunc(s.Tasks, func(t service.TaskState) bool { return t.Task == old.Task })
		if i < 0 {
			vanished = append(vanished, old.Task)
			continue
		}
		s.Tasks[i] = old
	}
	s.fold(set)
	return vanished
}

// record notes a fact for the journal.
func (s *State) record(text, subject string, evidence ...alarm.Evidence) {
	s.happened = append(s.happened, alarm.Event{
		Kind: alarm.Recorded, At: s.moment.At, Alarm: text, Text: text, Subject: subject, Class: alarm.Record,
		Notify: alarm.Never, Quality: drivers.Good, Evidence: evidence,
	})
}

// Marshal gives the saved form of s as JSON.
func (s *State) Marshal() ([]byte, error) {
	s.Seen = s.seen()
	s.Newest = make(map[string]*alarm.Event, len(s.last))
	for _, e := range s.last {
		if e != nil {
			s.Newest[e.Alarm] = e
		}
	}
	return json.Marshal(&s.Saved)
}

// Unmarshal reads what Marshal gave. A version it does not know is an error:
// the file was written by a newer agent.
func Unmarshal(text []byte) (*Saved, error) {
	var saved Saved
	if err := json.Unmarshal(text, &saved); err != nil {
		return nil, fmt.Errorf("state: %w", err)
	}
	if saved.Version != stateVersion {
		return nil, fmt.Errorf("state has version %d, this agent knows %d: use the agent that wrote it, or a newer one", saved.Version, stateVersion)
	}
	return &saved, nil
}

// seen is how the pump stands, or else stood when that was last known. What
// was saved is no news: something must have been read since the start.
func (s *State) seen() Seen {
	if s.operation.Mode == ModeUnknown || !s.heard {
		return s.Seen
	}
	_, since := s.running()
	return Seen{s.operation.Mode, s.moment.At, since, s.operation.WantedBy}
}

// At gives the instant of the newest step; zero before the first.
func (s *State) At() drivers.Instant { return s.moment.At }

// Close closes what is open in the history, at a stop of the agent.
func (s *State) Close(set *Settings) []Change {
	s.Trend.Close()
	s.endCapture(true)
	return s.flush(set)
}
