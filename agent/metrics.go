package main

import (
	"runtime"

	"pumpside/agent/poll"
	"pumpside/drivers/modbus"
	"pumpside/exporter/mqtt"
	"pumpside/exporter/prom"
	"pumpside/rules"
	"pumpside/rules/counters"
)

// metrics is everything one scrape shows.
func (g *gateway) metrics() prom.View {
	s := g.site.Snapshot()
	v := prom.View{
		Pumps: g.lasting(), SiteAlarms: s.Alarms, Groups: s.Groups,
		Agent: prom.Agent{Version: version, GoVersion: runtime.Version(), ConfigHash: g.config.Hash, ClockSynchronized: g.clock.instant().Synchronized},
	}
	for _, p := range g.pollers {
		if f := p.Facts(); f != nil {
			v.Buses = append(v.Buses, prom.Bus{Bus: f.Bus, Load: f.Load})
			for i := range f.Devices {
				v.Devices = append(v.Devices, deviceMetrics(f.Bus, &f.Devices[i]))
			}
		}
	}
	if g.publisher != nil {
		st := g.writer.Status()
		d := prom.Delivery{Connected: g.publisher.Facts().Connected, Outbox: uint64(st.OutboxMessages), Oldest: st.OutboxOldest, Dropped: given(st)}
		v.Agent.MQTT = &d
	}
	return v
}

func (g *gateway) snapshots() []*rules.Snapshot {
	list := make([]*rules.Snapshot, len(g.pumps))
	for i, p := range g.pumps {
		list[i] = p.Snapshot()
	}
	return list
}

// lasting is the snapshots with their totals as they were last saved. Prometheus
// takes a counter that falls for one that began again at zero, and after a kill
// or a power cut the agent goes on from what it saved. While nothing can be
// saved they are those of the moment.
func (g *gateway) lasting() []*rules.Snapshot {
	list := g.snapshots()
	if g.writer.Status().Err != nil {
		return list
	}
	_, saved := g.writer.Saved()
	for i, p := range g.pumps {
		var c counters.State
		if c.UnmarshalBinary(saved[p.Settings.Pump]) == nil {
			lasting := *list[i]
			lasting.Totals = rules.TotalsOf(&p.Settings.Counters, &c)
			list[i] = &lasting
		}
	}
	return list
}

func deviceMetrics(bus string, f *poll.DeviceFacts) prom.Device {
	d := prom.Device{
		Bus: bus, Device: f.Device, Up: f.Up, Requests: f.Requests,
		Durations: prom.Histogram{Bounds: poll.Bounds, Buckets: f.Buckets, Count: f.Answers, Sum: f.Sum.Seconds()},
	}
	for _, r := range modbus.Reasons() {
		d.Failures = append(d.Failures, prom.Count{Label: r.String(), Count: f.Failures[r]})
	}
	return d
}

// makePublisher makes the way to the broker; nil when nothing is published.
func (g *gateway) makePublisher() *mqtt.Publisher {
	c := g.config
	if c.MQTT == nil {
		return nil
	}
	origin := mqtt.Site{Name: c.Site.ID, StreamID: g.store.StreamID(), AgentVersion: version, ConfigHash: c.Hash}
	for _, p := range c.Pumps {
		origin.Pumps = append(origin.Pumps, p.ID)
	}
	return &mqtt.Publisher{
		Settings: c.MQTT.Settings, Site: origin, Outbox: outbox{g.writer}, Names: g.words.names,
		View: func() mqtt.View {
			return mqtt.View{Pumps: g.snapshots(), SiteAlarms: g.site.Snapshot().Alarms, Report: g.reports.newest.Load()}
		},
		Commands: newCommands(g.store, g.byID), Now: g.clock.instant, Log: g.log,
	}
}
