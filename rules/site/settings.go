package site

import (
	"errors"
	"fmt"
	"slices"
	"time"

	"pumpside/drivers"
	"pumpside/drivers/quantity"
	"pumpside/rules/alarm"
)

// Settings is what the configuration fixes of the site.
type Settings struct {
	Buses   []string
	Devices []Device
	Groups  []Group
	Alone   []string // ids of the pumps that are in no group
	Broker  bool     // something is published
	Changes map[string]alarm.Change
	Off     []string // names of alarms that are not evaluated
	// Escalate is how long a call waits for an acknowledgement; 0 for the
	// default, see [alarm.Definition.Escalated].
	Escalate time.Duration

	defs   []alarm.Definition
	judges []judge
	lost   []int      // place of each group's lost circulation among the definitions; -1 where it is not judged
	sites  []together // of each of ofTheSite
}

// A Device hangs on one bus.
type Device struct {
	ID  string
	Bus string
}

// A judge finds the condition of one alarm.
type judge func(s *State, b *Batch) alarm.Condition

// Checked makes set ready for [Start] and [Step].
func (set Settings) Checked() (*Settings, error) {
	set.defs, set.judges = nil, nil
	for i, d := range set.Devices {
		if !slices.Contains(set.Buses, d.Bus) {
			return nil, fmt.Errorf("device %q hangs on bus %q, which there is not", d.ID, d.Bus)
		}
		set.add(alarm.About("device_silent", d.ID), judgeDevice(i))
	}
	for i, bus := range set.Buses {
		if set.devicesOn(bus) > 1 {
			set.add(alarm.About("bus_down", bus), judgeBus(i))
		}
	}
	if err := set.checkGroups(); err != nil {
		return nil, err
	}
	set.defineGroups()
	for i, pump := range set.Alone {
		set.add(alarm.About("pump_unseen", pump), judgeAlone(i, func(p *Pump) alarm.Known { return alarm.KnownBool(p.Unseen) }))
		if len(set.Alone) > 1 {
			set.add(alarm.About("pump_power_lost", pump), judgeAlone(i, powerless))
		}
	}
	for _, d := range alarm.SiteAlarms(set.Changes) {
		if j, ok := own[d.Name]; ok && (set.Broker || !j.broker) {
			set.add(d, j.judge)
		}
	}
	set.findLost()
	return &set, errors.Join(alarm.ValidateAll(set.defs))
}

func (set *Settings) add(d alarm.Definition, j judge) {
	if !slices.Contains(set.Off, d.Name) {
		d = d.With(set.Changes[d.Name]).Escalated(set.Escalate)
		set.defs, set.judges = append(set.defs, d), append(set.judges, j)
	}
}

func (set *Settings) devicesOn(bus string) (n int) {
	for _, d := range set.Devices {
		if d.Bus == bus {
			n++
		}
	}
	return n
}

// Definitions lists the site's alarms in the order of Snapshot.Alarms.
func (set *Settings) Definitions() []alarm.Definition { return set.defs }

// A Batch is what happened at the site since the batch before.
type Batch struct {
	At       drivers.Instant
	Polls    []Poll
	Groups   [][]Pump // how the pumps of each group stand, in the order of Settings.Groups; nil is no news
	Alone    []Pump   // how those stand that are in none, in the order of Settings.Alone; nil is no news
	Store    Store
	Outbox   Outbox
	Started  Started
	Refused  bool // the configuration on disk was refused; the one before is in force
	Commands []drivers.Command
}

// A Poll is one finished poll of a device, by its place in Settings.Devices.
type Poll struct {
	Device   int
	Answered bool
}

// Store is how the state file does.
type Store struct {
	Failing bool           // the last write failed
	Wait    float64        // seconds the newest write took
	Disk    quantity.Ratio // share of the disk that is used; 0 when not known
}

// Outbox is how the way to the broker does.
type Outbox struct {
	Connected bool
	Filled    quantity.Ratio // share of its limit
	Dropped   uint64         // events given up since the batch before
}

// Started is what was found at the start of the agent; set in the first batch.
type Started struct {
	First   bool
	Unclean bool // the agent was not stopped the last time: killed, or a power cut
	Damaged bool // the state file was set aside and the newest good copy of the counters used
}

// ownJudge judges one of the agent's own alarms.
type ownJudge struct {
	judge  judge
	broker bool // only where something is published
}

// Limits of the agent's own alarms (our own choice, no source).
const (
	slowFrom     = 2.0  // seconds
	diskFrom     = 0.90 // share used
	diskFullFrom = 0.98
	outboxFrom   = 0.50
)

var own = map[string]ownJudge{
	"clock_not_synchronised": {func(_ *State, b *Batch) alarm.Condition { return held(!b.At.Synchronized) }, false},
	"store_failing":          {func(_ *State, b *Batch) alarm.Condition { return held(b.Store.Failing) }, false},
	"store_slow":             {func(_ *State, b *Batch) alarm.Condition { return above(b.Store.Wait, slowFrom, 0) }, false},
	"store_damaged":          {func(_ *State, b *Batch) alarm.Condition { return held(b.Started.First && b.Started.Damaged) }, false},
	"disk_full":              {judgeDisk, false},
	"unclean_stop":           {func(_ *State, b *Batch) alarm.Condition { return held(b.Started.First && b.Started.Unclean) }, false},
	"configuration_refused":  {func(_ *State, b *Batch) alarm.Condition { return held(b.Refused) }, false},
	"outbox_filling":         {func(_ *State, b *Batch) alarm.Condition { return above(float64(b.Outbox.Filled), outboxFrom, 0) }, true},
	"outbox_dropping":        {func(_ *State, b *Batch) alarm.Condition { return held(b.Outbox.Dropped > 0) }, true},
	"broker_unreachable":     {func(_ *State, b *Batch) alarm.Condition { return held(!b.Outbox.Connected) }, true},
}

func held(yes bool) alarm.Condition { return alarm.Judged(alarm.KnownBool(yes)) }

func judgeDisk(_ *State, b *Batch) alarm.Condition {
	if b.Store.Disk == 0 {
		return alarm.Condition{}
	}
	return above(float64(b.Store.Disk), diskFrom, diskFullFrom)
}

// above holds from limit on, and worse from worse on when that is not 0.
func above(x, limit, worse float64) alarm.Condition {
	c := held(x >= limit)
	c.HasValue, c.Value, c.HasLimit, c.Limit = true, x, true, limit
	if worse > 0 && x >= worse {
		c.Worse, c.Limit = true, worse
	}
	return c
}

func judgeDevice(i int) judge {
	return func(s *State, _ *Batch) alarm.Condition {
		if s.busDown[s.busOf[i]] {
			return alarm.Condition{} // the bus's alarm speaks for its devices
		}
		return s.devices[i]
	}
}

// judgeAlone judges a pump that is in no group.
func judgeAlone(i int, holds func(*Pump) alarm.Known) judge {
	return func(_ *State, b *Batch) alarm.Condition {
		if len(b.Alone) == 0 {
			return alarm.Condition{}
		}
		return alarm.Judged(holds(&b.Alone[i]))
	}
}

// powerless is whether p has lost its control power. One that is seen and tells
// of no loss has not: it remembers a loss by itself.
func powerless(p *Pump) alarm.Known {
	if p.Power == alarm.Unknown && p.Running == alarm.Unknown {
		return alarm.Unknown
	}
	return alarm.KnownBool(p.Power == alarm.No)
}

func judgeBus(i int) judge {
	return func(s *State, _ *Batch) alarm.Condition { return held(s.busDown[i]) }
}
