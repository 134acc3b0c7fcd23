package trend_test

import (
	"time"

	"pumpside/drivers"
	"pumpside/rules/trend"
)

var noon = time.Date(2026, 3, 1, 12, 0, 0, 0, time.UTC)

const boot = "6f1c1b1e-7a51-4d0e-9a53-0d2f4bd1a001"

// channels are those most tests have.
var channels = []trend.Channel{
	{Signal: drivers.DischargePressure, Name: "discharge_pressure"},
	{Signal: drivers.GlycolTemperature, Name: "glycol_temperature"},
	{Signal: drivers.GlycolVolume, Name: "glycol_volume"},
	{Signal: drivers.Auxiliary(0), Name: "lube_cooler_temperature"},
}

// instant is t after noon, an hour after the boot.
func instant(t time.Duration) drivers.Instant {
	return drivers.Instant{Wall: noon.Add(t), Boot: boot, SinceBoot: time.Hour + t, Synchronized: true}
}

func good(s drivers.Signal, v float64) drivers.Reading {
	return drivers.Reading{Signal: s, Value: v, Quality: drivers.Good}
}

func pressure(v float64) drivers.Reading { return good(drivers.DischargePressure, v) }

func step(s *trend.State, at drivers.Instant, readings ...drivers.Reading) {
	s.Step(&drivers.Batch{At: at, Readings: readings})
}

// placed is a bucket with its place.
type placed struct {
	Place int
	trend.Bucket
}

func bucketsOf(b *trend.Block, name string) (list []placed) {
	for place, v := range b.Buckets(name) {
		list = append(list, placed{place, v})
	}
	return list
}
