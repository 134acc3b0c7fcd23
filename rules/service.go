package rules

import (
	"cmp"
	"maps"
	"slices"
	"strings"
	"time"

	"pumpside/drivers"
	"pumpside/drivers/quantity"
	"pumpside/rules/alarm"
	"pumpside/rules/counters"
	"pumpside/rules/pump"
	"pumpside/rules/service"
)

// fold brings what follows from the ledger up to date.
func (s *State) fold(set *Settings) {
	service.Fold(set.Tasks, s.Tasks, s.Ledger)
	s.Last, s.score = lastService{}, service.Scored(s.Ledger)
	s.undated = slices.ContainsFunc(s.Ledger, func(r drivers.ServiceRecord) bool { return !r.At.Synchronized })
	s.oilUse = nil
	if use, known := service.OilUsed(s.Ledger); known {
		s.oilUse = &use
	}
	if list := service.InForce(s.Ledger); len(list) > 0 {
		r := list[len(list)-1]
		s.Last = lastService{Task: r.Entry.Task, By: cmp.Or(r.Entry.By, r.User), Totals: service.Totals{RunTime: r.RunTime, Strokes: r.Strokes}}
	}
}

// recordService lets the service rules decide on a record; an accepted one
// goes to the ledger with the event.
func (s *State) recordService(set *Settings, cmd *drivers.Command) {
	entry := drivers.ServiceEntry{Task: cmd.Task, Note: cmd.Comment}
	if cmd.Service != nil {
		entry = *cmd.Service
	}
	p := service.Pump{
		ID: set.Pump, Cylinders: set.Counters.Cylinders, Tasks: set.Tasks, States: s.Tasks, Duty: &s.Duty, Ledger: s.Ledger, Totals: s.used(), Believed: s.findings(),
		Opening: set.opening(),
	}
	r, err := p.Accept(entry, cmd.User, s.moment.At)
	if err != nil {
		s.refuse(cmd, err.Error())
		return
	}
	s.Ledger = append(s.Ledger, r)
	s.fold(set)
	if s.ofNow(&r) {
		s.beginRepair(set, &r)
		s.confirm(set, &r)
		if set.disturbs(&r.Entry) {
			s.serviced(&r.Entry)
		}
	}
	text := "service_recorded"
	if entry.Undoes > 0 {
		text = "service_undone"
	}
	s.happened = append(s.happened, alarm.Event{
		Kind: alarm.ServiceRecorded, At: s.moment.At, Alarm: "service_recorded", Text: text, Subject: r.Entry.Task,
		Class: alarm.Record, Notify: alarm.Never, Quality: drivers.Good, User: cmd.User, Comment: r.Entry.Note, CommandID: cmd.ID,
		Evidence: []alarm.Evidence{seconds("run_time", r.RunTime), number("strokes_per_plunger", r.Strokes)},
		Service:  &r,
	})
	if litres := r.Entry.Added; litres > 0 {
		e := &s.happened[len(s.happened)-1]
		e.Evidence = append(e.Evidence, alarm.Evidence{Key: "oil_added", Quantity: alarm.Quantity{Value: litres / 1000, Dimension: quantity.Volume}})
	}
	if r.Disputed != "" {
		s.recordDisputed(&r)
	}
}

// enteredWithin is how late a visit may be typed in with nothing found and
// still be about the pump as it stands (our own choice, no source).
const enteredWithin = 7 * 24 * time.Hour

// ofNow reports whether a record is about the pump as it is observed: work done
// now, or since what is found began. A record of old times says nothing of
// today's finding, and what was learned since is of the pump it left.
func (s *State) ofNow(r *drivers.ServiceRecord) bool {
	found := &s.Observed.Change
	switch {
	case r.Counted == service.FromCounters:
		return true
	case found.Present:
		return found.Began.Synchronized && r.At.Wall.After(found.Began.Wall)
	}
	return r.Counted == service.FromHistory && s.moment.At.Wall.Sub(r.At.Wall) < enteredWithin
}

// recordDisputed journals that hours told do not fit those counted.
func (s *State) recordDisputed(r *drivers.ServiceRecord) {
	told := r.Entry.PanelHours
	if told == nil {
		told = r.Entry.RunHours
	}
	s.record("service_hours_disputed", r.Entry.Task)
	e := &s.happened[len(s.happened)-1]
	e.Comment = r.Disputed
	e.Value = &alarm.Quantity{Value: *told * 3600, Dimension: quantity.Duration}
	e.Limit = &alarm.Quantity{Value: r.RunTime.Seconds(), Dimension: quantity.Duration}
}

// opening is what of the counters was not counted here but configured.
func (set *Settings) opening() drivers.Opening {
	return drivers.Opening{RunTime: set.Counters.Opening.Run, Strokes: set.Counters.Opening.Revolutions}
}

// correctOpening moves all that was remembered of the totals when the
// configured opening is another one than it was.
func (s *State) correctOpening(set *Settings) {
	opening := set.opening()
	s.Ledger = service.Corrected(s.Ledger, opening)
	was := s.Opening
	if s.Opening = &opening; was == nil || *was == opening {
		return
	}
	run, strokes := opening.RunTime-was.RunTime, opening.Strokes-was.Strokes
	s.Worn.RunTime, s.Worn.Strokes = s.Worn.RunTime+run, s.Worn.Strokes+strokes
	s.Duty.Shift(run, strokes)
	for i := range s.Tasks {
		s.Tasks[i].Shift(run, strokes)
	}
	s.Observed.Courses.shift(run)
	s.record("opening_counters", "")
	s.happened[len(s.happened)-1].Value = &alarm.Quantity{Value: opening.RunTime.Seconds(), Dimension: quantity.Duration}
}

// doubtAhead journals the tasks that were recorded at more hours than the pump
// has: until it gets there nothing is due by hours.
func (s *State) doubtAhead() {
	for i := range s.Tasks {
		t := &s.Tasks[i]
		var at time.Duration
		for j := range t.Places {
			at = max(at, t.Places[j].Totals.RunTime)
		}
		if at <= s.totals.Run {
			continue
		}
		s.record("task_ahead", t.Task)
		e := &s.happened[len(s.happened)-1]
		e.Value = &alarm.Quantity{Value: at.Seconds(), Dimension: quantity.Duration}
		e.Limit = &alarm.Quantity{Value: s.totals.Run.Seconds(), Dimension: quantity.Duration}
	}
}

// used are the counters that service life is measured in.
func (s *State) used() service.Totals {
	return service.Totals{RunTime: s.totals.Run, Strokes: s.totals.StrokesPerPlunger}
}

// wear counts on the tasks' own meters by what the pump ran since the last
// step, and the day's duty.
func (s *State) wear(set *Settings) {
	now := s.used()
	run, strokes := now.RunTime-s.Worn.RunTime, now.Strokes-s.Worn.Strokes
	s.Worn = now
	c := service.Unknown
	if run > 0 && run <= maxWearStep {
		c = s.conditionsNow(set)
	}
	begun := false
	for i := range s.Tasks {
		t := &s.Tasks[i]
		if t.Wear.From != nil && run > 0 {
			t.Wear.Step(&set.Tasks[i], c, run, strokes)
		}
		begun = t.Begin(&set.Tasks[i], s.moment.At, &now) || begun
	}
	if s.undated && s.moment.At.Synchronized {
		s.dateRecords()
		begun = true
	}
	if begun {
		s.fold(set)
	}
	if s.caughtUp() {
		s.Duty.Step(s.moment.At, &now)
	}
}

// dateRecords dates the records made while the clock was not set by the first
// good one: within the same boot exactly, else as if done now, for their
// calendar is to end late rather than never.
func (s *State) dateRecords() {
	s.Dated = maps.Clone(s.Dated)
	if s.Dated == nil {
		s.Dated = map[int]drivers.Instant{}
	}
	for i := range s.Ledger {
		if r := &s.Ledger[i]; !r.At.Synchronized {
			s.Dated[r.Number] = dated(r.At, s.moment.At)
		}
	}
	s.redate()
}

// dated is when an instant of a wrong clock was, by the good one of now.
func dated(at, now drivers.Instant) drivers.Instant {
	if at.SameBoot(now) {
		now.Wall, now.SinceBoot = now.Wall.Add(at.SinceBoot-now.SinceBoot), at.SinceBoot
	}
	now.Wall = now.Wall.Truncate(time.Millisecond) // as the store keeps it
	return now
}

// redate gives the ledger the dates that were found later: its lines in the
// store do not change.
func (s *State) redate() {
	s.Ledger = slices.Clone(s.Ledger)
	for i := range s.Ledger {
		r := &s.Ledger[i]
		at, found := s.Dated[r.Number]
		if !found || r.At.Synchronized {
			continue
		}
		if r.Entered == r.At {
			r.Entered = at
		}
		r.At = at
	}
}

// meterWait is how long an hour meter may take to explain an outage: most show
// whole hours, and one that stands still has nothing more to say. What a
// shorter one than outage hides is not worth waiting for.
const (
	meterWait = 2 * time.Hour
	outage    = time.Hour
)

// caughtUp reports whether the totals hold what was run up to now: the pump is
// seen, and what the meter says of the last outage is counted.
func (s *State) caughtUp() bool {
	at := s.moment.At
	if s.status.Drive == counters.Unknown {
		return false
	}
	if !s.seenAt.SameBoot(at) || at.SinceBoot-s.seenAt.SinceBoot >= outage {
		s.returned = at
	}
	s.seenAt = at
	return !s.Counters.Gap.Open || at.SinceBoot-s.returned.SinceBoot >= meterWait
}

// disturbs reports whether a pump may be another one after such work, so that
// what was learned of it holds no more.
func (set *Settings) disturbs(e *drivers.ServiceEntry) bool {
	i := slices.IndexFunc(set.Tasks, func(t service.Task) bool { return t.Name == e.Task })
	return e.LineChanged || e.ElectricalWork || e.RotationConfirmed || e.HydraulicEnd ||
		i >= 0 && set.Tasks[i].Kind.Disturbs() && e.Action != service.Inspected && e.Action != service.NoFaultFound
}

// findings are the parts the diagnosis suspects. They are worked out once for
// each ranking: alarms look at them in every step.
func (s *State) findings() []pump.Finding {
	o := &s.observer
	if o.ranking != o.listed || o.visit != o.listedVisit {
		o.listed, o.listedVisit, o.suspects = o.ranking, o.visit, nil
		if o.ranking != nil {
			o.suspects = o.ranking.Parts(o.visit)
		}
	}
	return o.suspects
}

// runningIn is whether the first oil of a new or repaired hydraulic end is in.
func (s *State) runningIn(set *Settings, i int) bool {
	t := &set.Tasks[i]
	return t.Kind == service.Oil && t.RunsIn(&s.Tasks[i].Places[s.lives[i].place])
}

// oilWords gives the text of an advisory about oil: that of a first change only
// while the first oil is in, whatever the task is called.
func (s *State) oilWords(set *Settings, text, task string) string {
	const usual, first = "service_", "run_in_oil_"
	stage, is := strings.CutPrefix(text, usual)
	if !is {
		stage, is = strings.CutPrefix(text, first)
	}
	if i := slices.IndexFunc(set.Tasks, func(t service.Task) bool { return t.Name == task }); is && i >= 0 && slices.Contains(oilStages, stage) {
		if s.runningIn(set, i) {
			return first + stage
		}
		return usual + stage
	}
	return text
}

var oilStages = []string{"due_soon", "due", "overdue"}

// A taskLife is the life of a task's place used most, at the moment.
type taskLife struct {
	service.Life
	status service.Status
	place  int
	blind  bool // nobody can tell the calendar of a place: more may be used
}

// measure finds the lives of all tasks at the moment.
func (s *State) measure(set *Settings) {
	for i := range set.Tasks {
		t, state, worst := &set.Tasks[i], &s.Tasks[i], &s.lives[i]
		totals := state.Wear.Totals(t, s.used())
		*worst = taskLife{}
		for j := range state.Places {
			life := t.Used(&state.Places[j], &totals, s.moment.At)
			if j == 0 || life.Used > worst.Used {
				worst.Life, worst.place = life, j
			}
			worst.blind = worst.blind || !life.CalendarKnown
		}
		worst.status = t.Status(worst.Life)
	}
}

// taskViews looks at every task, with dates and with what the diagnosis says.
func (s *State) taskViews(set *Settings) []TaskView {
	if s.outlook == nil || s.outlookDay != s.Duty.Today {
		s.outlook, s.outlookDay = service.NewOutlook(&s.Duty, s.moment.At), s.Duty.Today
	}
	s.measure(set)
	ahead := prospect{s.outlook.From(s.moment.At), s.findings(), s.course(LeakCourse, EfficiencyCourse), s.course(EfficiencyCourse)}
	views := make([]TaskView, len(set.Tasks))
	for i := range views {
		views[i] = s.taskView(set, i, &ahead)
	}
	return views
}

// A prospect is what is known of the days ahead.
type prospect struct {
	outlook  *service.Outlook
	suspects []pump.Finding
	found    service.Course // of what the diagnosis asks for
	even     service.Course // of what wears evenly in all heads
}

// of is the course of a task's parts.
func (p *prospect) of(t *service.Task, life *service.Life) service.Course {
	switch {
	case life.By == service.ByCondition:
		return p.found
	case t.Takes(pump.SuctionValve) || t.Takes(pump.PlungerSeal):
		return p.even
	}
	return service.Course{}
}

// course is the soonest of where these indicators lead, of those that are clear
// and get worse.
func (s *State) course(indicators ...string) (c service.Course) {
	for _, t := range s.observer.trends {
		if !t.Clear || (t.Slope > 0) != (t.Indicator == LeakCourse) || !slices.Contains(indicators, t.Indicator) {
			continue
		}
		if one := t.course(); !c.Known || one.Median < c.Median {
			c = one
		}
	}
	return c
}

// course is how much longer the pump can run until the limit is reached; none
// once it is passed.
func (t *IndicatorTrend) course() service.Course {
	run := func(slope float64) time.Duration {
		days := max((t.Limit-t.Last)/slope, 0)
		return time.Duration(min(days, longestCourse) * 24 * float64(time.Hour)).Round(time.Minute)
	}
	return service.Course{Known: true, Early: min(run(t.Low), run(t.High)), Median: run(t.Slope), Late: max(run(t.Low), run(t.High))}
}

// longestCourse keeps days of running from what no time can hold.
const longestCourse = 10_000

func (s *State) taskView(set *Settings, i int, ahead *prospect) TaskView {
	t, state := &set.Tasks[i], &s.Tasks[i]
	worst := s.lives[i].place
	totals := state.Wear.Totals(t, s.used())
	v := TaskView{Task: t.Name}
	places := make([]PlaceView, len(state.Places))
	for j := range places {
		done := &state.Places[j]
		life := t.Used(done, &totals, s.moment.At)
		life = t.Suspected(life, t.Position(j), ahead.suspects)
		window := ahead.outlook.Window(t, done, &totals, life, ahead.of(t, &life))
		places[j] = PlaceView{Position: t.Position(j), Status: t.Status(life), Life: life, Done: *done, Window: window}
		if life.By == service.ByCondition && places[worst].Life.By != service.ByCondition {
			worst = j
		}
	}
	v.Status, v.Life, v.Done, v.Window = places[worst].Status, places[worst].Life, places[worst].Done, places[worst].Window
	if len(t.Positions) > 0 {
		v.Places = places
	}
	return v
}

// maxWearStep is the longest time that is weighted by the conditions of the
// moment; a longer one was credited from an hour meter, and nobody knows what
// it was like.
const maxWearStep = time.Minute

// conditionsNow are how the pump runs now, as far as it is known.
func (s *State) conditionsNow(set *Settings) service.Conditions {
	c := service.Unknown
	if s.status.SpeedKnown {
		c.Speed = s.status.ShaftSpeed
	}
	if p, ok := s.settled(set, drivers.DischargePressure); ok {
		c.Pressure = quantity.Pascals(p)
	}
	if t, ok := s.newest(set, drivers.HydraulicOilTemperature); ok {
		c.Oil = quantity.Celsius(t)
	}
	return c
}
