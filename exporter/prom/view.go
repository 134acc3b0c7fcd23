package prom

import (
	"time"

	"pumpside/rules"
	"pumpside/rules/alarm"
	"pumpside/rules/site"
)

// A View is everything one scrape shows, taken at one moment.
type View struct {
	Pumps      []*rules.Snapshot
	SiteAlarms []alarm.View
	Groups     []site.GroupView
	Devices    []Device
	Buses      []Bus
	Agent      Agent
}

// A Device is what a bus knows of one device.
type Device struct {
	Bus, Device string
	Up          bool
	Requests    uint64
	Failures    []Count // by reason, every reason of the fixed list
	Durations   Histogram
}

// A Count is a labelled number.
type Count struct {
	Label string
	Count uint64
}

// A Histogram counts durations; Buckets[i] counts those up to Bounds[i],
// cumulatively.
type Histogram struct {
	Bounds  []float64 // seconds, rising
	Buckets []uint64
	Count   uint64
	Sum     float64 // seconds
}

// A Bus is one line.
type Bus struct {
	Bus  string
	Load float64 // share of the line's time that was used lately
}

// Agent is what concerns the agent itself.
type Agent struct {
	Version           string
	GoVersion         string
	ConfigHash        string
	ClockSynchronized bool
	MQTT              *Delivery // nil when nothing is published
}

// A Delivery is the state of the way to the broker.
type Delivery struct {
	Connected bool
	Outbox    uint64    // events waiting
	Oldest    time.Time // of the oldest waiting event; zero when none
	Dropped   uint64    // events given up because the outbox was full
}

// known gives 0 or 1, and whether there is anything to show.
func known(k alarm.Known) (float64, bool) {
	switch k {
	case alarm.Yes:
		return 1, true
	case alarm.No:
		return 0, true
	}
	return 0, false
}

func flag(b bool) float64 {
	if b {
		return 1
	}
	return 0
}
