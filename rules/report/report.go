package report

import (
	"cmp"
	"slices"
	"strings"
	"time"

	"pumpside/drivers"
	"pumpside/drivers/quantity"
	"pumpside/rules"
	"pumpside/rules/alarm"
	"pumpside/rules/hydraulics"
	"pumpside/rules/site"
)

// A Report is one site over a span of time. Times are UTC; nil is not known.
type Report struct {
	Instant     drivers.Instant `json:"-"`        // until when, as the agent's clock has it
	Title       string          `json:"title"`    // what people call the site
	At          time.Time       `json:"at"`       // until when
	Since       time.Time       `json:"since"`    // from when
	ClockGood   bool            `json:"clock"`    // the clock can be trusted
	Offline     bool            `json:"offline"`  // no agent runs: nothing is known of now
	AsOf        *time.Time      `json:"as_of"`    // when a pump was last seen, while no agent runs
	Needs       []Need          `json:"needs"`    // what needs a person, first things first
	Groups      []Group         `json:"groups"`   // circulation
	Pumps       []Pump          `json:"pumps"`    // in the order of the configuration
	Changes     []Change        `json:"changes"`  // since then, newest first
	Standing    []Standing      `json:"standing"` // alarms that are active or wait for a person, oldest first
	Silenced    []Silenced      `json:"silenced"` // shelved or out of service
	Due         []Due           `json:"due"`      // service due within seven days, or due already
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

// dueWithin is how far a report looks ahead.
const dueWithin = 7 * 24 * time.Hour

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

func (r *Report) due(in *Input, s *rules.Snapshot) {
	plate := in.Plates[s.Pump]
	for i := range s.Tasks {
		t := &s.Tasks[i]
		at := t.Window.Due.Median
		soon := !at.IsZero() && at.Before(in.At.Wall.Add(dueWithin))
		if t.Life.Used < 1 && !soon {
			continue
		}
		d := Due{
			Pump: s.Pump, Tag: in.tag(s.Pump), Task: t.Task, Title: cmp.Or(plate.Titles[t.Task], t.Task), Status: t.Status.String(),
			Used: t.Life.Used, Parts: plate.Parts[t.Task],
		}
		if t.Life.Used >= 1 {
			d.Since = dueSince(s, t.Task)
		}
		if !at.IsZero() && t.Life.Used < 1 { // what is due already has no date to come
			d.At = &at
		}
		r.Due = append(r.Due, d)
	}
}

// stands reports whether an alarm is active, or nobody has seen it yet.
func stands(v *alarm.View) bool {
	return v.State != alarm.Normal && v.Class != alarm.Record
}

func (r *Report) stand(in *Input, pump string, v *alarm.View) {
	if !stands(v) {
		return
	}
	s := Standing{
		Pump: pump, Alarm: v.Name, Class: v.Class.String(), Priority: v.Priority.String(), State: v.State.String(), Since: v.RaisedAt.Wall,
		Stale: v.State.Active() && in.until().Sub(v.RaisedAt.Wall) > staleAfter, Text: alarm.Title(v.Text),
	}
	if v.Last != nil {
		s.Text = in.Words(pump, v.Last).Headline
	}
	r.Standing = append(r.Standing, s)
}

func (r *Report) silence(pump string, v *alarm.View) {
	one := Silenced{Pump: pump, Alarm: v.Name}
	until := time.Time{}
	switch {
	case v.Removed:
		one.How, one.By, until, one.Left = "out_of_service", v.RemovedBy, v.ReviewAt, v.ReviewLeft.Seconds()
	case v.Shelved:
		one.How, one.By, until, one.Left = "shelved", v.ShelvedBy, v.ShelvedUntil, v.ShelvedLeft.Seconds()
	default:
		return
	}
	if !until.IsZero() {
		one.Until = &until
	}
	r.Silenced = append(r.Silenced, one)
}

// groups says how each circulation stands and was.
func (r *Report) groups(in *Input) {
	for i := range in.Own.Groups {
		v := &in.Own.Groups[i]
		g := Group{
			Group: v.Group, Title: cmp.Or(in.Groups[v.Group], v.Group), Moves: v.Moves, Wanted: v.Wanted, WantedBy: v.WantedBy, Gas: v.Gas,
			Delivering: v.Delivering, Required: v.Required, Spare: v.Behind(),
			Flow: litres(v.Flow, v.FlowKnown), Target: litres(v.Target, v.TargetBy == "gas" || v.TargetBy == "setting"), TargetBy: v.TargetBy,
		}
		g.countLost(in)
		g.circulated(in, r, v)
		r.Groups = append(r.Groups, g)
	}
}

// countLost counts the times in which no pump delivered, each from when that
// began until it was over, or as far as anything is known.
func (g *Group) countLost(in *Input) {
	var from time.Time
	end := func(at time.Time) {
		if !from.IsZero() {
			g.LostFor += max(at.Sub(from), 0).Seconds()
		}
		from = time.Time{}
	}
	for _, one := range in.Journal {
		e := one.Event
		switch {
		case e.Group != g.Group || e.Text != "circulation_lost" && e.Text != "circulation_short":
		case e.Kind == alarm.Cleared || e.Kind == alarm.Eased:
			end(e.At.Wall)
		case e.Text == "circulation_lost" && (e.Kind == alarm.Raised || e.Kind == alarm.Worsened):
			g.Lost++
			from = e.At.Wall
			if e.Kind == alarm.Raised {
				from = from.Add(-e.Duration)
			}
		}
	}
	end(in.until())
}

func litres(flow quantity.CubicMetersPerSecond, known bool) *float64 {
	x := float64(flow) * 60e3
	if !known {
		return nil
	}
	return &x
}

// mostUnknown is the part of the time for which the target may be unknown.
const mostUnknown = 0.05

// circulated adds up what the group's pumps moved and what that took, against
// what was needed over the same time.
func (g *Group) circulated(in *Input, r *Report, v *site.GroupView) {
	moved, energy, from := sum{}, sum{}, time.Time{}
	for i := range r.Pumps {
		p := &r.Pumps[i]
		if in.Members[p.Pump] != v.Group {
			continue
		}
		moved.add(p.Pumped)
		energy.add(p.Energy)
		if p.CountedSince != nil && (from.IsZero() || p.CountedSince.Before(from)) {
			from = *p.CountedSince
		}
	}
	g.Circulated, g.Energy = moved.known(), energy.known()
	if g.Energy != nil {
		g.Cost = priced(*g.Energy, in.Price)
		g.PerVolume = by(*g.Energy, g.Circulated)
	}
	volume, known, ok := v.NeededSince(from)
	if span := in.At.Wall.Sub(from); !ok || volume <= 0 || known.Seconds() < (1-mostUnknown)*span.Seconds() {
		return
	}
	g.Needed = new(float64(volume))
	if g.Circulated != nil {
		g.Share = by(*g.Circulated, g.Needed)
		heat := float64(hydraulics.CirculationHeat(quantity.CubicMeters(max(*g.Circulated-*g.Needed, 0)))) / 3.6e6
		g.ExcessHeat, g.HeatCost = &heat, priced(heat, in.Heat)
	}
}

// A sum is known when all that was added is.
type sum struct {
	x       float64
	n       int
	missing bool
}

func (s *sum) add(x *float64) {
	if x == nil {
		s.missing = true
		return
	}
	s.x, s.n = s.x+*x, s.n+1
}

func (s *sum) known() *float64 {
	if s.n == 0 || s.missing {
		return nil
	}
	return &s.x
}

// priced is what x costs; nil without a price.
func priced(x, price float64) *float64 {
	if price <= 0 {
		return nil
	}
	return new(x * price)
}

// by is x for each of what n counts; nil for none.
func by(x float64, n *float64) *float64 {
	if n == nil || *n <= 0 {
		return nil
	}
	return new(x / *n)
}

// dueSince is when a task fell due, as its alarm has it; nil: not known.
func dueSince(s *rules.Snapshot, task string) *time.Time {
	for i := range s.Alarms {
		v := &s.Alarms[i]
		if e := v.Last; e != nil && e.Subject == task && v.State.Active() && (strings.HasSuffix(v.Text, "_due") || strings.HasSuffix(v.Text, "_overdue")) {
			at := v.RaisedAt.Wall
			if e.Kind == alarm.Worsened {
				at = e.At.Wall
			}
			return &at
		}
	}
	return nil
}

// tells reports whether an event is news to a shift.
func tells(e *alarm.Event) bool {
	switch e.Kind {
	case alarm.Suppressed, alarm.Unsuppressed, alarm.Chattering, alarm.Settled, alarm.Eased, alarm.Refused, alarm.Recorded:
		return false // starts and stops are counted
	}
	return true
}

// title is what an entry is about, in a few words.
func (in *Input) title(e *Entry) string {
	title := alarm.Title(e.Event.Text)
	if about := e.Event.Subject; about != "" {
		title += " (" + cmp.Or(in.Plates[e.Pump].Titles[about], in.Plates[about].Tag, spaced(about)) + ")"
	}
	return title
}

// place is whose entry it is: a pump's, a group's or the site's.
func (in *Input) place(e *Entry) string {
	if e.Pump != "" {
		return in.tag(e.Pump)
	}
	return cmp.Or(in.Groups[e.Event.Group], e.Event.Group, "site")
}

func change(in *Input, e *Entry) Change {
	c := Change{At: e.Event.At.Wall, Pump: e.Pump, Event: e.Event.Kind.String(), Alarm: e.Event.Alarm, Text: in.Words(e.Pump, e.Event).Headline}
	c.Title, c.Where, c.Occurrence, c.Comment, c.Active = in.title(e), in.place(e), e.Event.Occurrence, e.Event.Comment, e.Event.State.Active()
	if e.Event.User != "" {
		c.User = &e.Event.User
	}
	return c
}
