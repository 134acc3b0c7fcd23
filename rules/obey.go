package rules

import (
	"slices"
	"time"

	"pumpside/drivers"
	"pumpside/rules/alarm"
	"pumpside/rules/counters"
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
