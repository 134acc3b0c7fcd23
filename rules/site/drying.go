package site

import (
	"time"

	"pumpside/drivers"
	"pumpside/drivers/quantity"
	"pumpside/rules/hydraulics"
)

// Drying is what the glycol of a group is to do to the gas. The zero Drying is
// not known.
type Drying struct {
	WaterOut quantity.KilogramsPerCubicMeter   // what may be left in the gas, per standard volume; 0: not known
	Ratio    hydraulics.CubicMetersPerKilogram // glycol for each kilogram of water
}

// A Stream is the gas to be dried.
type Stream struct {
	Known       bool
	Rate        quantity.CubicMetersPerSecond // at standard conditions
	Pressure    quantity.Pascals              // gauge
	Temperature quantity.Celsius
}

// atmosphere makes a gauge pressure absolute, at sea level; 10 kPa off at
// 1,000 m are 0.2 % of the water in gas at 50 bar.
const atmosphere quantity.Pascals = 101325

// The streams that a water content can be told for: the range of the formula,
// and down to where gas holds next to no water.
const (
	coldest, hottest   quantity.Celsius = -60, 238
	thinnest, thickest quantity.Pascals = 100e3, 69e6 // absolute
)

// plausible reports whether g can be a stream of gas: a broken thermometer can
// read like one of 3,000 °C.
func (g Stream) plausible() bool {
	absolute := g.Pressure + atmosphere
	return g.Known && g.Temperature >= coldest && g.Temperature <= hottest && absolute >= thinnest && absolute <= thickest && g.Rate < 1e6
}

// Needed is the circulation that takes the water of a saturated stream; ok is
// false while it is not known.
func (d Drying) Needed(g Stream) (flow quantity.CubicMetersPerSecond, ok bool) {
	if !g.plausible() || d.WaterOut <= 0 || d.Ratio <= 0 {
		return 0, false
	}
	in := hydraulics.WaterContent(g.Pressure+atmosphere, g.Temperature)
	return hydraulics.CirculationNeeded(hydraulics.WaterToRemove(max(g.Rate, 0), in, d.WaterOut), d.Ratio), true
}

// Where the target of a group comes from.
const (
	targetByGas     = "gas"
	targetBySetting = "setting"
)

// target is the circulation wanted now, by the gas or else by the setting.
func (g *Group) target(pumps []Pump) (quantity.CubicMetersPerSecond, string) {
	for k := range pumps {
		if flow, ok := g.Drying.Needed(pumps[k].Stream); ok {
			return flow, targetByGas
		}
	}
	if g.Target > 0 {
		return g.Target, targetBySetting
	}
	return 0, wantedUnknown
}

// needs is what was to be circulated so far, with what it stood at every hour
// of the last day and every day of the last week.
type needs struct {
	Now   Need   `json:"now"`
	Hours []Need `json:"hours,omitempty"`
	Days  []Need `json:"days,omitempty"`
}

// A Need is what the targets of a group have added up to.
type Need struct {
	At     drivers.Instant      `json:"at"`
	Volume quantity.CubicMeters `json:"volume"`
	Known  time.Duration        `json:"known"` // time in which there was a target
}

const (
	hoursKept = 25
	daysKept  = 9
)

// pass lets time go by with a target, or without one.
func (n *needs) pass(v *GroupView, at drivers.Instant, watched time.Duration) {
	n.Now.At = at
	if v.TargetBy != wantedUnknown {
		n.Now.Volume += quantity.CubicMeters(float64(v.Target) * watched.Seconds())
		n.Now.Known += watched
	}
	if !older(n.Hours, at, time.Hour) {
		return
	}
	n.Hours = kept(n.Hours, n.Now, hoursKept)
	if older(n.Days, at, 24*time.Hour) {
		n.Days = kept(n.Days, n.Now, daysKept)
	}
}

func older(list []Need, at drivers.Instant, than time.Duration) bool {
	if len(list) == 0 {
		return true
	}
	since, known := at.Since(list[len(list)-1].At)
	return !known || since >= than
}

// kept never changes list: snapshots share it.
func kept(list []Need, n Need, most int) []Need {
	from := max(len(list)+1-most, 0)
	return append(append(make([]Need, 0, most), list[from:]...), n)
}

// NeededSince is what was to be circulated since the mark nearest to t, and
// over what time that is known; ok is false when there is no mark.
func (v *GroupView) NeededSince(t time.Time) (volume quantity.CubicMeters, known time.Duration, ok bool) {
	best, off := Need{}, time.Duration(0)
	for _, list := range [][]Need{v.needs.Hours, v.needs.Days} {
		for _, n := range list {
			if d := n.At.Wall.Sub(t).Abs(); !ok || d < off {
				best, off, ok = n, d, true
			}
		}
	}
	return v.needs.Now.Volume - best.Volume, v.needs.Now.Known - best.Known, ok
}
