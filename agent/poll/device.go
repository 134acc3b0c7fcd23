package poll

import (
	"pumpside/drivers"
	"pumpside/drivers/regmap"
)

// A device is what a run remembers of one device.
type device struct {
	*Device
	decoder *regmap.Decoder
	feeds   [][]feed // by point
	pumps   []share  // the pumps it feeds
	tally   tally
	missed  int // polls in a row
}

type feed struct {
	slot   int // place in device.pumps
	signal drivers.Signal
}

// A share is one pump's part of an answer.
type share struct {
	pump     int
	feeds    int
	readings []drivers.Reading
}

func newDevice(set *Device) *device {
	d := &device{Device: set, decoder: regmap.NewDecoder(set.Map), feeds: make([][]feed, len(set.Map.Points))}
	slots := map[int]int{}
	for _, f := range set.Feeds {
		slot, known := slots[f.Pump]
		if !known {
			slot = len(d.pumps)
			slots[f.Pump] = slot
			d.pumps = append(d.pumps, share{pump: f.Pump})
		}
		d.pumps[slot].feeds++
		d.feeds[f.Point] = append(d.feeds[f.Point], feed{slot, f.Signal})
	}
	return d
}
