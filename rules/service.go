package rules

import (
	"time"

	"pumpside/drivers"
	"pumpside/drivers/quantity"
	"pumpside/rules/alarm"
	"pumpside/rules/service"
)

// fold brings what follows from the ledger up to date.
func (s *State) fold(set *Settings) {
	service.Fold(set.Tasks, s.Tasks, s.Ledger)
	s.Last = lastService{}
	if list := service.InForce(s.Ledger); len(list) > 0 {
		r := list[len(list)-1]
		s.Last = lastService{Task: r.Entry.Task, By: r.User, Totals: service.Totals{RunTime: r.RunTime, Strokes: r.Strokes}}
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
		ID: set.Pump, Cylinders: set.Counters.Cylinders, Tasks: set.Tasks, States: s.Tasks, Duty: &s.Duty, Ledger: s.Ledger, Totals: s.used(),
	}
	r, err := p.Accept(entry, cmd.User, s.moment.At)
	if err != nil {
		s.refuse(cmd, err.Error())
		return
	}
	s.Ledger = append(s.Ledger, r)
	s.fold(set)
	s.serviced(&entry)
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
	if r.Disputed != "" {
		s.recordDisputed(&r)
	}
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
	for i := range s.Tasks {
		t := &s.Tasks[i]
		begun := t.Wear.Begun
		if t.Begin(s.moment.At, &now); begun && run > 0 && set.Tasks[i].Weighted() {
			t.Wear.Step(&set.Tasks[i], c, run, strokes)
		}
	}
	s.Duty.Step(s.moment.At, &now)
}

// life measures the task at a place in Settings.Tasks: the life of the place
// used most, and which that is.
func (s *State) life(set *Settings, i int) (worst service.Life, status service.Status, place int) {
	t, state := &set.Tasks[i], &s.Tasks[i]
	totals := state.Wear.Totals(s.used())
	for j := range state.Places {
		if life := t.Used(&state.Places[j], &totals, s.moment.At); j == 0 || life.Used > worst.Used {
			worst, place = life, j
		}
	}
	return worst, t.Status(worst), place
}

func (s *State) taskView(set *Settings, i int) TaskView {
	t, state := &set.Tasks[i], &s.Tasks[i]
	life, status, place := s.life(set, i)
	v := TaskView{Task: t.Name, Status: status, Life: life, Done: state.Places[place]}
	if len(t.Positions) == 0 {
		return v
	}
	totals := state.Wear.Totals(s.used())
	v.Places = make([]PlaceView, len(state.Places))
	for j := range state.Places {
		one := t.Used(&state.Places[j], &totals, s.moment.At)
		v.Places[j] = PlaceView{Position: t.Position(j), Status: t.Status(one), Life: one, Done: state.Places[j]}
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
