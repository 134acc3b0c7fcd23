package rules

import (
	"fmt"
	"slices"
	"time"

	"pumpside/drivers"
	"pumpside/rules/alarm"
	"pumpside/rules/counters"
	"pumpside/rules/service"
)

// obey carries out one command. Whatever comes of it is an event with the
// command's id: what happened, or Refused with the reason.
func (s *State) obey(set *Settings, cmd *drivers.Command) {
	switch {
	case cmd.ID != "" && slices.Contains(s.Commands, cmd.ID):
		s.refuse(cmd, "this command was already carried out")
	case cmd.Verb == drivers.RecordService:
		s.recordService(set, cmd)
	default:
		s.happened = s.Alarms.Do(set.defs, &s.moment, cmd, s.happened)
	}
	if cmd.ID != "" && !slices.Contains(s.Commands, cmd.ID) {
		s.Commands = append(s.Commands, cmd.ID)
		s.Commands = s.Commands[max(len(s.Commands)-rememberedCommands, 0):]
	}
}

func (s *State) refuse(cmd *drivers.Command, reason string) {
	s.happened = append(s.happened, alarm.Event{
		Kind: alarm.Refused, At: s.moment.At, Alarm: cmd.Alarm, Subject: cmd.Task, Class: alarm.Record, Notify: alarm.Never,
		User: cmd.User, Comment: cmd.Comment, CommandID: cmd.ID, Refusal: reason,
	})
}

// recordService starts a task's life again.
func (s *State) recordService(set *Settings, cmd *drivers.Command) {
	i := slices.IndexFunc(s.Tasks, func(t taskDone) bool { return t.Name == cmd.Task })
	switch {
	case cmd.User == "":
		s.refuse(cmd, "a service record needs the name of the person who did the work")
		return
	case i < 0:
		s.refuse(cmd, fmt.Sprintf("there is no service task %q on this pump; it has %s", cmd.Task, taskNames(set)))
		return
	}
	totals := s.used()
	s.Tasks[i].Done = s.Tasks[i].Record(totals, s.moment.At, cmd.User)
	s.Last = lastService{Task: cmd.Task, By: cmd.User, Totals: totals}
	s.happened = append(s.happened, alarm.Event{
		Kind: alarm.ServiceRecorded, At: s.moment.At, Alarm: "service_recorded", Text: "service_recorded", Subject: cmd.Task,
		Class: alarm.Record, Notify: alarm.Never, Quality: drivers.Good, User: cmd.User, Comment: cmd.Comment, CommandID: cmd.ID,
		Evidence: []alarm.Evidence{seconds("run_time", totals.RunTime), number("strokes_per_plunger", totals.Strokes)},
	})
}

func taskNames(set *Settings) string {
	if len(set.Tasks) == 0 {
		return "none"
	}
	text := ""
	for i, t := range set.Tasks {
		if i > 0 {
			text += ", "
		}
		text += t.Name
	}
	return text
}

// used are the counters that service life is measured in.
func (s *State) used() service.Totals {
	return service.Totals{RunTime: s.totals.Run, Strokes: s.totals.StrokesPerPlunger}
}

// running gives whether the pump runs and for how long it has or has not.
func (s *State) running() (alarm.Known, time.Duration) {
	return known(s.status.Running), s.status.For
}

func known(a counters.Answer) alarm.Known {
	switch a {
	case counters.Yes:
		return alarm.Yes
	case counters.No:
		return alarm.No
	}
	return alarm.Unknown
}
