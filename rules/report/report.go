package report

import (
	"cmp"
	"slices"
	"time"

	"pumpside/drivers"
	"pumpside/rules"
	"pumpside/rules/alarm"
	"pumpside/rules/site"
)

// A Report is one site over a span of time. Times are UTC; nil is not known.
type Report struct {
	Instant     drivers.Instant `json:"-"`                // until when, as the agent's clock has it
	Title       string          `json:"title"`            // what people call the site
	At          time.Time       `json:"at"`               // until when
	Since       time.Time       `json:"since"`            // from when
	ClockGood   bool            `json:"clock"`            // the clock can be trusted
	Offline     bool            `json:"offline"`          // no agent runs: nothing is known of now
	AsOf        *time.Time      `json:"as_of"`            // when a pump was last seen, while no agent runs
	Needs       []Need          `json:"needs"`            // what needs a person, first things first
	Groups      []Group         `json:"groups"`           // circulation
	Pumps       []Pump          `json:"pumps"`            // in the order of the configuration
	Changes     []Change        `json:"changes"`          // since then, newest first
	Older       int             `json:"changes_left_out"` // older ones that Changes lacks, where it is sent
	Standing    []Standing      `json:"standing"`         // alarms that are active or wait for a person, oldest first
	Silenced    []Silenced      `json:"silenced"`         // shelved or out of service
	Due         []Due           `json:"due"`              // service due within seven days, or due already
	Silent      []string        `json:"silent_devices"`
	Performance Performance     `json:"alarm_performance"`
}

// A Pump is how one pump stands and what it did.
type Pump struct {
	Pump         string      `json:"pump"`
	Tag          string      `json:"tag"`
	Mode         rules.Mode  `json:"mode"`
	ForSeconds   *float64    `json:"for_s"`
	LastMode     *rules.Mode `json:"last_mode"`    // when that was last known, while Mode is not
	LastSeen     *time.Time  `json:"last_seen_at"` //
	LastFor      *float64    `json:"last_for_s"`   // it had run or stood for so long then
	LastWantedBy *string     `json:"last_wanted_by"`
	Wanted       alarm.Known `json:"wanted"`
	WantedBy     string      `json:"wanted_by"`
	Available    alarm.Known `json:"available"`
	CountedSince *time.Time  `json:"counted_since"` // from when the numbers below count
	Run          *float64    `json:"run_h"`
	Unobserved   *float64    `json:"unobserved_h"`
	Starts       *float64    `json:"starts"`
	Pumped       *float64    `json:"pumped_m3"`
	Energy       *float64    `json:"energy_kwh"`
	PerVolume    *float64    `json:"energy_kwh_per_m3"`
	Cost         *float64    `json:"energy_cost"`
	Restarts     int         `json:"drive_restarts"` // of the drive by itself, in the last 24 h
	TotalRun     float64     `json:"total_run_h"`
}

// A Group is how the circulation of a group stands and was.
type Group struct {
	Group      string          `json:"group"`
	Title      string          `json:"title"`
	Moves      alarm.Known     `json:"moves"`
	Wanted     alarm.Known     `json:"wanted"`
	WantedBy   string          `json:"wanted_by"`
	Gas        alarm.Known     `json:"gas_flows"`
	Delivering int             `json:"pumps_delivering"`
	Required   int             `json:"pumps_required"`
	Spare      drivers.Standby `json:"spare"`
	Flow       *float64        `json:"flow_l_per_min"`
	Target     *float64        `json:"target_l_per_min"`
	TargetBy   string          `json:"target_by"`         // gas, setting or not_known
	Circulated *float64        `json:"circulated_m3"`     // by all its pumps, since then
	Needed     *float64        `json:"needed_m3"`         // by the target of that time
	Share      *float64        `json:"circulated_share"`  // of what was needed
	Energy     *float64        `json:"energy_kwh"`        // of its motors
	PerVolume  *float64        `json:"energy_kwh_per_m3"` //
	Cost       *float64        `json:"energy_cost"`       //
	ExcessHeat *float64        `json:"excess_heat_kwh"`   // of the reboiler, for what circulated beyond need
	HeatCost   *float64        `json:"excess_heat_cost"`  //
	Lost       int             `json:"lost"`              // times circulation was lost since then: no pump delivered
	LostFor    float64         `json:"lost_s"`            // for so long in all
}

// A Change is one thing that happened or that somebody did.
type Change struct {
	At    time.Time `json:"at"`
	Pump  string    `json:"pump"` // "" for the site
	Event string    `json:"event"`
	Alarm string    `json:"alarm"` // its name; "" for what is none
	Text  string    `json:"text"`
	User  *string   `json:"user"`

	Title      string `json:"title"`      // what it is about, in few words
	Where      string `json:"where"`      // the tag of its pump, the title of its group, or "site"
	Occurrence uint64 `json:"occurrence"` // counts the raises of the alarm; 0 for what is none
	Comment    string `json:"comment"`
	Active     bool   `json:"active"` // the alarm stood after it
}

// A Standing is an alarm that is active, or that nobody has acknowledged.
type Standing struct {
	Pump     string    `json:"pump"`
	Alarm    string    `json:"alarm"`
	Class    string    `json:"class"`
	Priority string    `json:"priority"`
	State    string    `json:"state"`
	Since    time.Time `json:"since"`
	Stale    bool      `json:"stale"` // stands for more than 24 h
	Text     string    `json:"text"`
}

// A Silenced is an alarm that a person keeps quiet.
type Silenced struct {
	Pump  string     `json:"pump"`
	Alarm string     `json:"alarm"`
	How   string     `json:"how"` // shelved or out_of_service
	By    string     `json:"by"`
	Until *time.Time `json:"until"`
	Left  float64    `json:"left_s"` // until then, however the clock stands
}

// A Due is a service task that is due or soon will be.
type Due struct {
	Pump   string     `json:"pump"`
	Tag    string     `json:"tag"`
	Task   string     `json:"task"`
	Title  string     `json:"title"`
	Status string     `json:"status"`
	Used   float64    `json:"used_ratio"`
	At     *time.Time `json:"due_at"` // by the median forecast; nil: not known, or due already
	Since  *time.Time `json:"due_since"`
	Parts  string     `json:"parts"`
}

// An Entry is one journal entry with the pump it is of, "" for the site.
type Entry struct {
	Pump  string
	Event *alarm.Event
}

// A Plate is what the configuration says of a pump.
type Plate struct {
	Tag    string
	Titles map[string]string // of service tasks
	Parts  map[string]string // likewise
}

// Input is what a report is made of.
type Input struct {
	Title   string
	At      drivers.Instant
	Since   time.Time
	Pumps   []*rules.Snapshot
	Own     *site.Snapshot
	Plates  map[string]Plate
	Groups  map[string]string // titles
	Members map[string]string // the group of each pump that is in one
	Journal []Entry           // since then, oldest first
	Offline bool              // no agent runs: Pumps and Own are as they were saved
	Price   float64           // of a kilowatt-hour; 0: not known
	Heat    float64           // price of a kilowatt-hour of reboiler heat; 0: not known
	Zone    *time.Location    // in which night is night; nil is UTC
	Words   func(pump string, e *alarm.Event) alarm.Message
}

// staleAfter is when a standing alarm is stale (the usual measure of alarm
// management, as in ISA-18.2 and EEMUA 191).
const staleAfter = 24 * time.Hour

// Of makes the report.
func Of(in *Input) *Report {
	r := &Report{
		Instant: in.At, Title: in.Title, At: in.At.Wall, Since: in.Since, ClockGood: in.At.Synchronized, Offline: in.Offline, AsOf: in.asOf(),
		Needs: []Need{}, Groups: []Group{}, Pumps: []Pump{}, Changes: []Change{}, Standing: []Standing{}, Silenced: []Silenced{}, Due: []Due{}, Silent: []string{},
	}
	for _, p := range in.Pumps {
		r.Pumps = append(r.Pumps, pump(in, p))
		r.due(in, p)
	}
	in.eachAlarm(func(pump string, v *alarm.View) {
		r.stand(in, pump, v)
		r.silence(pump, v)
	})
	r.groups(in)
	for _, d := range in.Own.Devices {
		if d.Up == alarm.No {
			r.Silent = append(r.Silent, d.Device)
		}
	}
	for i := len(in.Journal) - 1; i >= 0; i-- {
		if e := &in.Journal[i]; tells(e.Event) {
			r.Changes = append(r.Changes, change(in, e))
		}
	}
	slices.SortStableFunc(r.Standing, func(a, b Standing) int { return a.Since.Compare(b.Since) })
	r.Performance = measure(in)
	r.Needs = needs(in, r)
	return r
}

// asOf is when any pump was last seen, where no agent runs; nil where one does,
// and when none was ever seen.
func (in *Input) asOf() *time.Time {
	var newest time.Time
	for _, p := range in.Pumps {
		if t := p.Seen.At.Wall; t.After(newest) {
			newest = t
		}
	}
	if !in.Offline || newest.IsZero() {
		return nil
	}
	return &newest
}

// until is how far anything is known.
func (in *Input) until() time.Time {
	if t := in.asOf(); t != nil {
		return *t
	}
	return in.At.Wall
}

// eachAlarm goes over the site's own alarms and those of the pumps.
func (in *Input) eachAlarm(f func(pump string, v *alarm.View)) {
	for i := range in.Own.Alarms {
		f("", &in.Own.Alarms[i])
	}
	for _, p := range in.Pumps {
		for i := range p.Alarms {
			f(p.Pump, &p.Alarms[i])
		}
	}
}

func pump(in *Input, s *rules.Snapshot) Pump {
	o := &s.Operation
	p := Pump{
		Pump: s.Pump, Tag: in.tag(s.Pump), Mode: o.Mode, Wanted: o.Wanted, WantedBy: o.WantedBy, Available: o.Available,
		Restarts: o.Restarts, TotalRun: s.Totals.RunSeconds / 3600,
	}
	if p.Mode == rules.ModeUnknown && !s.Seen.At.IsZero() {
		p.LastMode, p.LastSeen = &s.Seen.Mode, &s.Seen.At.Wall
		p.LastFor, p.LastWantedBy = new(s.Seen.For.Seconds()), &s.Seen.WantedBy
	}
	if s.Running != alarm.Unknown {
		p.ForSeconds = new(s.For.Seconds())
	}
	p.count(in, s)
	return p
}

// count says what the counters gained since then.
func (p *Pump) count(in *Input, s *rules.Snapshot) {
	m, ok := s.Since(in.Since)
	if !ok {
		return
	}
	t := &s.Totals
	at := m.At.Wall
	p.CountedSince = &at
	run, unseen, starts := t.RunSeconds/3600-m.Run.Hours(), t.UnobservedSeconds/3600-m.Unseen.Hours(), t.Starts-float64(m.Starts)
	p.Run, p.Unobserved, p.Starts = &run, &unseen, &starts
	stood := run <= 0 && unseen <= 0 // then it moved and took nothing, whatever its meters can tell
	if pumped := t.PumpedVolume - m.Pumped; t.PumpedVolume > 0 || stood {
		p.Pumped = &pumped
	}
	if energy := (t.Energy - m.Energy) / 3.6e6; t.Energy > 0 || stood {
		p.Energy, p.Cost, p.PerVolume = &energy, priced(energy, in.Price), by(energy, p.Pumped)
	}
}

func (in *Input) tag(pump string) string { return cmp.Or(in.Plates[pump].Tag, pump) }
