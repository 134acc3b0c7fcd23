package configs

import (
	"time"

	"pumpside/drivers/quantity"
)

type limitFile struct {
	LowLow    string          `yaml:"low_low" doc:"Lower limit of the worse kind."`
	Low       string          `yaml:"low" doc:"Lower limit."`
	High      string          `yaml:"high" doc:"Upper limit."`
	HighHigh  string          `yaml:"high_high" doc:"Upper limit of the worse kind."`
	Falls     string          `yaml:"falls" doc:"Largest fall within the time of within."`
	Rises     string          `yaml:"rises" doc:"Largest rise within the time of within."`
	Within    time.Duration   `yaml:"within" default:"10 min" doc:"See falls and rises."`
	Deviation deviationFile   `yaml:"deviation" doc:"Limits of the difference from another signal of this pump."`
	Wrong     string          `yaml:"wrong" words:"on off" doc:"For a switch: the state that is wrong."`
	Deadband  *quantity.Ratio `yaml:"deadband" doc:"How far it must return, part of the measuring range. Left out: by kind of signal."`
	Delay     *time.Duration  `yaml:"delay" doc:"How long it must hold before the alarm is raised and before it clears. Left out: by kind of signal."`
}

type deviationFile struct {
	From  string `yaml:"from" doc:"Role of the signal that is taken off."`
	Above string `yaml:"above" doc:"Upper limit of the difference."`
	Below string `yaml:"below" doc:"Lower limit of the difference."`
}

type alarmFile struct {
	Off           bool           `yaml:"off" default:"false" doc:"Do not evaluate this alarm at all."`
	Priority      string         `yaml:"priority" words:"low medium high" doc:"Priority."`
	WorsePriority string         `yaml:"worse_priority" words:"low medium high" doc:"Priority beyond the worse limit."`
	Responder     string         `yaml:"responder" words:"control_room mechanic automation journal" doc:"Who acts."`
	Notify        string         `yaml:"notify" words:"now next_working_day never" doc:"When they are told."`
	Latching      *bool          `yaml:"latching" doc:"Whether it stays after it cleared, until someone resets it."`
	OnDelay       *time.Duration `yaml:"on_delay" doc:"How long the condition must hold."`
	OffDelay      *time.Duration `yaml:"off_delay" doc:"How long it must be gone."`
	ReAlarm       *time.Duration `yaml:"re_alarm" doc:"Announced again when still there so long after it was acknowledged; 0 s: never."`
	Blanking      *time.Duration `yaml:"blanking" doc:"How long after each start of the pump it says nothing."`
	TimeToRespond *time.Duration `yaml:"time_to_respond" doc:"From the alarm to its consequence."`
}

type judgingFile struct {
	NoFlowBelow   quantity.CubicMetersPerSecond `yaml:"no_flow_below" default:"0.2 L/min" doc:"Less is no flow."`
	NoFlowAfter   time.Duration                 `yaml:"no_flow_after" default:"60 s" doc:"How long without flow while running."`
	PrimeWithin   time.Duration                 `yaml:"prime_within" default:"60 s" doc:"How long a start may take to give flow."`
	StartsPerHour int                           `yaml:"starts_per_hour" default:"6" doc:"More is short cycling (common practice); 15 at most: no more can be told."`
	TooCold       quantity.Celsius              `yaml:"too_cold_below" default:"10 °C" doc:"Colder glycol is too viscous to pump (common practice)."`
	WarmAt        quantity.Celsius              `yaml:"warm_at" default:"30 °C" doc:"A start is cold until the glycol is so warm, or 20 min have passed (common practice)."`
	SuctionRise   quantity.Pascals              `yaml:"suction_rise" default:"50 kPa" doc:"Rise of suction pressure within 10 min that tells back-flow through the stopped pump."`
	LevelRise     quantity.Ratio                `yaml:"level_rise" default:"5 %" doc:"Rise of the level within 10 min that tells it; negative: the level is not judged."`
	BackwardFlow  quantity.CubicMeters          `yaml:"backward_flow" default:"1 L" doc:"The totaliser ran back by so much."`
}
