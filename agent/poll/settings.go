package poll

import (
	"time"

	"pumpside/drivers"
	"pumpside/drivers/modbus"
	"pumpside/drivers/regmap"
)

// Settings describe one bus and what is read from it.
type Settings struct {
	ID      string
	Bus     modbus.Settings
	Devices []Device
}

// A Device is one unit on the bus.
type Device struct {
	ID    string
	Unit  byte
	Map   regmap.Map
	Feeds []Feed

	Routine   time.Duration // beat of routine points; fast points are read on it too
	Slow      time.Duration // beat of slow points
	FastFor   time.Duration // length of a fast window; 0: there are none
	FastEvery time.Duration // beat of fast windows
}

// A Feed says that a point of the device is a signal of a pump.
type Feed struct {
	Point  int // place in Map.Points
	Pump   int // as the Deliver function numbers pumps
	Signal drivers.Signal
}

// A plan is what one device's points of one class and table are read with.
type plan struct {
	modbus.Plan
	device int
	class  modbus.Class
	period time.Duration
	window int
	split  split
}

// A block is one transaction of a plan.
type block struct {
	modbus.Block
	plan int
}

// plans lists the plans of all devices, and the windows of those that have
// fast points.
func (set *Settings) plans() (plans []plan, windows []modbus.Window, steady [][]int) {
	for i := range set.Devices {
		d := &set.Devices[i]
		unreadable := d.Map.Unreadable
		add := func(class modbus.Class, period time.Duration, window int, want func(regmap.ReadClass) bool) {
			for _, table := range []regmap.Table{regmap.Coil, regmap.Discrete, regmap.Input, regmap.Holding} {
				p := plan{device: i, class: class, period: period, window: window}
				p.Table = modbus.Table(table)
				p.Wanted = d.wanted(table, want)
				p.Unreadable = spans(table, unreadable)
				p.Cost = func(n int) time.Duration { return set.Bus.WireTime(p.Table, n) }
				if len(p.Wanted) > 0 {
					plans = append(plans, p)
				}
			}
		}
		add(modbus.Routine, d.Routine, 0, func(c regmap.ReadClass) bool { return c != regmap.Slow })
		add(modbus.Slow, d.Slow, 0, func(c regmap.ReadClass) bool { return c == regmap.Slow })
		if d.FastFor > 0 && len(d.fastPumps()) > 0 {
			add(modbus.Fast, modbus.FastPeriod, len(windows), func(c regmap.ReadClass) bool { return c == regmap.Fast })
			windows = append(windows, modbus.Window{Every: d.FastEvery, Length: d.FastFor})
			steady = append(steady, d.fastPumps())
		}
	}
	return plans, windows, steady
}

// jobs lists what the bus has to do, and the block behind each job.
func (set *Settings) jobs(plans []plan) (jobs []modbus.Job, blocks []block, err error) {
	for i := range plans {
		p := &plans[i]
		planned, err := p.Blocks()
		if err != nil {
			return nil, nil, err
		}
		for _, b := range planned {
			request := modbus.Request{Unit: set.Devices[p.device].Unit, Table: p.Table, First: b.First, Count: b.Count}
			jobs = append(jobs, modbus.Job{
				Request: request, Class: p.class, Period: p.period, Window: p.window,
				Cost: set.Bus.WireTime(p.Table, int(b.Count)),
			})
			blocks = append(blocks, block{Block: b, plan: i})
		}
	}
	return jobs, blocks, nil
}

func (d *Device) wanted(table regmap.Table, want func(regmap.ReadClass) bool) (list []modbus.Span) {
	for i := range d.Map.Points {
		if p := &d.Map.Points[i]; p.Table == table && want(p.Class) {
			list = append(list, modbus.Span{First: p.Span().First, Count: p.Span().Count})
		}
	}
	return list
}

func spans(table regmap.Table, all []regmap.Span) (list []modbus.Span) {
	for _, s := range all {
		if s.Table == table {
			list = append(list, modbus.Span{First: s.First, Count: s.Count})
		}
	}
	return list
}

// fastPumps lists the pumps that have a fast point on the device.
func (d *Device) fastPumps() (pumps []int) {
	seen := map[int]bool{}
	for _, f := range d.Feeds {
		if d.Map.Points[f.Point].Class == regmap.Fast && !seen[f.Pump] {
			seen[f.Pump] = true
			pumps = append(pumps, f.Pump)
		}
	}
	return pumps
}
