package drivers

import "time"

// A ServiceEntry is what a person says was done to a pump. Everything but the
// task may be left out. Words (reason, action, found) are those of rules/service.
type ServiceEntry struct {
	Task   string    `json:"task,omitempty"`
	At     time.Time `json:"at,omitzero"`  // when the work was done; zero is now
	By     string    `json:"by,omitempty"` // who did it, when that is not the one who records it
	Reason string    `json:"reason,omitempty"`
	Action string    `json:"action,omitempty"`

	Cylinder int           `json:"cylinder,omitempty"`     // from 1; 0 is all of them
	Side     string        `json:"side,omitempty"`         // suction or discharge; "" is both
	Swapped  *ServicePlace `json:"swapped_with,omitempty"` // of action swapped: the other place

	Found  string           `json:"found,omitempty"`         // the state of the part before the work, one plain word
	Before []ServiceReading `json:"before,omitempty"`        // readings as found
	After  []ServiceReading `json:"after,omitempty"`         // readings as left
	Parts  []ServicePart    `json:"parts,omitempty"`         // what went in
	Added  float64          `json:"oil_added_l,omitempty"`   // litres of oil topped up
	Filled float64          `json:"oil_changed_l,omitempty"` // litres of a new filling

	Order             string  `json:"order,omitempty"`      // the maintenance system's order number
	Labour            float64 `json:"labour_h,omitempty"`   // hours of work, all hands
	Downtime          float64 `json:"downtime_h,omitempty"` // hours the pump could not run
	ElectricalWork    bool    `json:"electrical_work,omitempty"`
	RotationConfirmed bool    `json:"rotation_confirmed,omitempty"`
	LineChanged       bool    `json:"line_changed,omitempty"`           // line or dampener: pressure phases turn
	HydraulicEnd      bool    `json:"hydraulic_end_repaired,omitempty"` // its oil runs in again

	PanelHours *float64 `json:"panel_h,omitempty"` // the hour meter on the panel, as read
	// RunHours and Strokes are the pump's totals at the time of the work, for
	// what was done before the agent saw the pump.
	RunHours *float64 `json:"run_h,omitempty"`
	Strokes  *float64 `json:"strokes_per_plunger,omitempty"`

	Undoes int    `json:"undoes,omitempty"` // the number of a record that was wrong: this one cancels it
	Note   string `json:"note,omitempty"`
}

// AboutNoTask reports whether the entry can stand without a task: oil topped
// up, or a note.
func (e *ServiceEntry) AboutNoTask() bool { return e.Task == "" && (e.Added > 0 || e.Note != "") }

// A ServicePlace is a check valve, or a cylinder when Side is "".
type ServicePlace struct {
	Cylinder int    `json:"cylinder"`
	Side     string `json:"side,omitempty"`
}

// A ServiceReading is something read at a visit.
type ServiceReading struct {
	Name  string  `json:"name"`
	Value float64 `json:"value"`
	Unit  string  `json:"unit,omitempty"`
}

// A ServicePart is a part that went into the pump.
type ServicePart struct {
	Name     string  `json:"name"`
	Number   string  `json:"number,omitempty"` // order number
	Serial   string  `json:"serial,omitempty"`
	Batch    string  `json:"batch,omitempty"`
	Quantity float64 `json:"quantity,omitempty"` // 0 is one
}

// A ServiceRecord is one line of the service ledger: what a person said and
// what the agent knew then. It never changes; a wrong one is cancelled by
// another.
type ServiceRecord struct {
	Pump    string  `json:"pump,omitempty"`
	Number  int     `json:"number"`           // counts per pump, from 1
	Entered Instant `json:"entered,omitzero"` // when it was recorded
	User    string  `json:"user"`             // who recorded it

	At      Instant       `json:"at,omitzero"`         // when the work was done
	RunTime time.Duration `json:"run_time"`            // of the pump, at the time of the work
	Strokes float64       `json:"strokes_per_plunger"` // likewise
	Counted string        `json:"counted"`             // where these two are from: counters, history or told
	// Opening is what was configured as run before the agent counted, and is in
	// RunTime and Strokes; nil when these are told, or when it is not known.
	Opening  *Opening `json:"opening,omitempty"`
	Disputed string   `json:"disputed,omitempty"` // why the hours told do not fit those counted; both are kept
	// Estimated says what of the use below or above was not counted but taken
	// in proportion; "" when nothing was.
	Estimated string `json:"estimated,omitempty"`

	// What the task's own meters of weighted use showed at the time of the
	// work, since they began.
	WarmTime time.Duration `json:"warm_time,omitempty"`
	Worn     float64       `json:"worn_strokes,omitempty"`
	Share    float64       `json:"table_share,omitempty"`

	Mode      string         `json:"failure_mode,omitempty"`      // ISO 14224 code; "" when nothing had failed
	Mechanism string         `json:"failure_mechanism,omitempty"` // ISO 14224 Table B.2 number
	Believed  *ServiceBelief `json:"believed,omitempty"`          // what the agent's diagnosis said then

	Entry ServiceEntry `json:"entry"`
}

// An Opening is what a pump had done before an agent counted it.
type Opening struct {
	RunTime time.Duration `json:"run_time"`
	Strokes float64       `json:"strokes_per_plunger"`
}

// A ServiceBelief is what the diagnosis held likeliest when a record was made,
// kept so that it can be scored against what was found.
type ServiceBelief struct {
	Component   string  `json:"component"`
	Cylinder    int     `json:"cylinder,omitempty"`
	Side        string  `json:"side,omitempty"`
	Probability float64 `json:"probability"`
}
