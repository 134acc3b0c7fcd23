package main

import (
	"fmt"
	"io"
	"math"
	"time"

	"pumpside/configs"
	"pumpside/drivers"
	"pumpside/drivers/modbus"
	"pumpside/drivers/quantity"
	"pumpside/drivers/regmap"
	"pumpside/rules/diagnosis"
)

// installationOf is what a configuration gives a pump to be seen with.
func installationOf(c *configs.Config, p *configs.Pump) diagnosis.Installation {
	in := diagnosis.Installation{Geometry: p.Geometry, StampError: time.Millisecond}
	for i := range p.Rules.Signals {
		s, feed := &p.Rules.Signals[i], &p.Feeds[i]
		switch s.Signal {
		case drivers.DischargePressure:
			in.Pressure, in.Path, in.Update = !s.Shared, s.Path, s.UpdatePeriod
			device := &c.Devices[feed.Device]
			point := &device.Map.Points[feed.Point]
			in.DampingKnown, in.Resolution = point.Path.DampingKnown, resolutionOf(point)
			if point.Class == regmap.Fast && device.FastEvery > 0 {
				in.Share = device.FastFor.Seconds() / device.FastEvery.Seconds()
				in.Poll = pollOf(&c.Buses[device.Bus])
			}
		case drivers.GlycolFlow:
			in.Flow = true
		case drivers.SuctionPressure:
			in.Suction = true
		case drivers.MotorTorque:
			in.Torque = true
		case drivers.HydraulicOilTemperature:
			in.OilTemperature = true
		case drivers.BypassValve:
			in.Bypass = true
		}
	}
	return in
}

// resolutionOf is the stated resolution of a pressure, or what one count of its
// register is worth; 0 for a float, which does not say.
func resolutionOf(p *regmap.Point) quantity.Pascals {
	const span = 16 // mA
	switch {
	case p.Path.Resolution > 0:
		return quantity.Pascals(p.Path.Resolution)
	case p.Type == regmap.Float32 || p.Type == regmap.Float64:
		return 0
	case p.Loop.Given():
		return quantity.Pascals(math.Abs(p.Scale * (p.Loop.High - p.Loop.Low) / span))
	}
	return quantity.Pascals(math.Abs(p.Unit.ToBase(p.Scale) - p.Unit.ToBase(0)))
}

// pollOf is about how long a fast poll of a pressure and an index takes.
func pollOf(b *configs.Bus) time.Duration {
	if b.Settings.Kind == modbus.TCP {
		return 20 * time.Millisecond // a turnaround of devices behind TCP (common practice, no source)
	}
	return b.Settings.WireTime(modbus.InputRegisters, 2)
}

// describeSights prints what the signals installed can show of each pump.
func describeSights(w io.Writer, c *configs.Config) {
	for i := range c.Pumps {
		p := &c.Pumps[i]
		if p.Rules == nil || len(p.Feeds) != len(p.Rules.Signals) {
			continue
		}
		in := installationOf(c, p)
		fmt.Fprintf(w, "\nWhat can be seen of %s:\n", p.ID)
		if in.Pressure {
			fmt.Fprintf(w, "  a leak of 5 %% of one head shows about %.1f kPa at once per turn (on 20 m of line; measured at the first start)", float64(in.FirstOrder())/1e3)
			if in.Resolution > 0 {
				fmt.Fprintf(w, "; one count is %.1f kPa", float64(in.Resolution)/1e3)
			}
			fmt.Fprintln(w)
		}
		for _, s := range in.Sights() {
			fmt.Fprintf(w, "  %s\t%s\t%s\n", s.Failure, sightWords(s), s.Advice)
		}
	}
}

func sightWords(s diagnosis.Sight) string {
	switch {
	case !s.Seen:
		return "not seen"
	case s.Least > 0:
		return fmt.Sprintf("from %.2g %% of %s in 30 min", 100*s.Least, s.Of)
	}
	return "seen"
}
