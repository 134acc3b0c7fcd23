package configs

import "time"

type callsFile struct {
	EscalateAfter time.Duration `yaml:"escalate_after" default:"15 min" doc:"A message that calls at once and that nobody has acknowledged for so long is escalated, and once more after the same time again; never later than half the time there is to respond."`
	EscalateTo    []string      `yaml:"escalate_to" doc:"Who is called then, first and second, as the alarm desk knows them. Left out: the rota decides; the message is sent all the same."`
	QuietFrom     string        `yaml:"quiet_from" doc:"Quiet hours begin, as 22:00 by the site's time zone. Nothing is silenced by them: messages say that it is quiet."`
	QuietTo       string        `yaml:"quiet_to" doc:"They end, as 06:00."`
	Rota          []rotaFile    `yaml:"rota" doc:"Who is on call when; the first line that fits counts."`
}

type rotaFile struct {
	Responder string   `yaml:"responder" need:"control_room, mechanic or automation" words:"control_room mechanic automation" doc:"For whom this line is."`
	Days      []string `yaml:"days" words:"mon tue wed thu fri sat sun" doc:"On these days; left out: every day. A time over midnight belongs to the day it begins on."`
	From      string   `yaml:"from" doc:"From this time of day on, as 18:00; left out: midnight."`
	To        string   `yaml:"to" doc:"Until this time of day, as 06:00; left out: midnight."`
	Call      string   `yaml:"call" need:"who is called, as the alarm desk knows them" doc:"Who is called, as the alarm desk knows them."`
}
