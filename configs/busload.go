package configs

import (
	"fmt"
	"strings"
	"time"

	"pumpside/drivers/modbus"
	"pumpside/drivers/regmap"
)

// A BusLoad is how busy a bus will be.
type BusLoad struct {
	Bus         string
	modbus.Load     // parts of the time
	Requests    int // different ones
}

// BusLoads gives the load of every bus, in the order of Config.Buses.
func (c *Config) BusLoads() []BusLoad { return c.loads }

// busLoads finds the load of every bus and refuses what is too much.
func (l *loader) busLoads() {
	devicesOn := make([][]int, len(l.config.Buses))
	for i, d := range l.config.Devices {
		if d.Bus >= 0 {
			devicesOn[d.Bus] = append(devicesOn[d.Bus], i)
		}
	}
	for i := range l.config.Buses {
		load := l.config.load(i, devicesOn[i])
		l.config.loads = append(l.config.loads, load)
		if load.Average() > modbus.MostLoad {
			l.wrong(at("buses").item(i), "%s", l.config.tooMuch(load, i, devicesOn[i]))
		}
	}
}

func (c *Config) load(bus int, devices []int) BusLoad {
	var (
		jobs    []modbus.Job
		windows []modbus.Window
	)
	for _, i := range devices {
		d := &c.Devices[i]
		request := requests{set: &c.Buses[bus].Settings, device: d, window: len(windows)}
		jobs = request.add(jobs, modbus.Routine, d.Routine, func(c regmap.ReadClass) bool { return c != regmap.Slow })
		jobs = request.add(jobs, modbus.Slow, d.Slow, func(c regmap.ReadClass) bool { return c == regmap.Slow })
		if d.FastFor > 0 {
			before := len(jobs)
			jobs = request.add(jobs, modbus.Fast, modbus.FastPeriod, func(c regmap.ReadClass) bool { return c == regmap.Fast })
			if len(jobs) > before {
				windows = append(windows, modbus.Window{Every: d.FastEvery, Length: d.FastFor})
			}
		}
	}
	return BusLoad{Bus: c.Buses[bus].ID, Load: modbus.LoadOf(jobs, windows), Requests: len(jobs)}
}

// requests makes the jobs of one device.
type requests struct {
	set    *modbus.Settings
	device *Device
	window int
}

// add appends the jobs that read the points of a class. A plan that cannot be
// made is a problem of the points, and told there.
func (r *requests) add(jobs []modbus.Job, class modbus.Class, beat time.Duration, wants func(regmap.ReadClass) bool) []modbus.Job {
	for table := modbus.Coils; table <= modbus.InputRegisters; table++ {
		plan := modbus.Plan{Table: table, Cost: func(n int) time.Duration { return r.set.WireTime(table, n) }}
		for i := range r.device.Map.Points {
			p := &r.device.Map.Points[i]
			if modbus.Table(p.Table) == table && wants(p.Class) {
				plan.Wanted = append(plan.Wanted, modbus.Span{First: p.Address, Count: p.Span().Count})
			}
		}
		if len(plan.Wanted) == 0 {
			continue
		}
		for _, s := range r.device.Map.Unreadable {
			if modbus.Table(s.Table) == table {
				plan.Unreadable = append(plan.Unreadable, modbus.Span{First: s.First, Count: s.Count})
			}
		}
		blocks, _ := plan.Blocks()
		for _, b := range blocks {
			request := modbus.Request{Unit: r.device.Unit, Table: table, First: b.First, Count: b.Count}
			jobs = append(jobs, modbus.Job{Request: request, Class: class, Period: beat, Cost: r.set.WireTime(table, int(b.Count)), Window: r.window})
		}
	}
	return jobs
}

// tooMuch says how busy a bus would be and what would help.
func (c *Config) tooMuch(load BusLoad, bus int, devices []int) string {
	text := fmt.Sprintf("would be busy %s of the time (routine %s, slow %s, fast %s); above %s beats are missed and nothing is left for repeats",
		percent(load.Average()), percent(load.Routine), percent(load.Slow), percent(load.Fast), percent(modbus.MostLoad))
	var helps []string
	if load.Fast > 0.1 {
		helps = append(helps, "shorten the fast windows")
	}
	if beat, ok := c.beatThatFits(load, devices); ok {
		helps = append(helps, fmt.Sprintf("poll routine points every %s", span(beat)))
	}
	helps = append(helps, "read temperatures and meters as slow")
	if s := c.Buses[bus].Settings; s.Kind != modbus.TCP && s.Line.Baud < 115200 {
		helps = append(helps, "raise the baud rate")
	}
	if len(devices) > 1 {
		helps = append(helps, "put some devices on another bus")
	}
	return text + "; " + strings.Join(helps[:len(helps)-1], ", ") + " or " + helps[len(helps)-1]
}

// beatThatFits is a routine beat, in tenths of a second, at which the bus would
// have room. Fast windows take what the others leave while they are open.
func (c *Config) beatThatFits(load BusLoad, devices []int) (time.Duration, bool) {
	var open float64 // part of the time that fast windows are
	if left := 1 - load.Routine - load.Slow; left > 0 {
		open = load.Fast / left
	}
	room := (modbus.MostLoad-open)/(1-open) - load.Slow
	if !(room > 0) || load.Routine <= room {
		return 0, false
	}
	var longest time.Duration
	for _, i := range devices {
		longest = max(longest, c.Devices[i].Routine)
	}
	const step = 100 * time.Millisecond
	beat := time.Duration(float64(longest) * load.Routine / room)
	return (beat + step - 1) / step * step, true
}

func percent(part float64) string { return fmt.Sprintf("%.0f %%", 100*part) }
