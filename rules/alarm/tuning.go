package alarm

import (
	"time"

	"pumpside/drivers/quantity"
)

// A Tuning is the deadband and the delays a limit has by default.
type Tuning struct {
	Deadband float64 // part of the signal's range
	Delay    time.Duration
	Blanking time.Duration // after each start of the pump
}

// tunings are for flow, level, pressure, temperature, current and torque the
// usual starting points of alarm management (common practice, in the line of
// the tables of EEMUA 191 and ISA-18.2); power and speed are our own.
var tunings = map[quantity.Dimension]Tuning{
	quantity.Flow:        {0.05, 15 * time.Second, 0},
	quantity.Share:       {0.05, 60 * time.Second, 0}, // level
	quantity.Volume:      {0.05, 60 * time.Second, 0}, // level
	quantity.Length:      {0.05, 60 * time.Second, 0}, // level
	quantity.Pressure:    {0.02, 15 * time.Second, 0},
	quantity.Temperature: {0.01, 60 * time.Second, 0},
	quantity.Current:     {0.04, 10 * time.Second, 10 * time.Second},
	quantity.Torque:      {0.04, 10 * time.Second, 10 * time.Second},
	quantity.Power:       {0.04, 10 * time.Second, 10 * time.Second},
	quantity.Speed:       {0.02, 10 * time.Second, 0},
	quantity.Frequency:   {0.02, 10 * time.Second, 0},
}

// TuningOf gives the default for a dimension: 5 % and 15 s where the table
// has no row.
func TuningOf(d quantity.Dimension) Tuning {
	if t, ok := tunings[d]; ok {
		return t
	}
	return Tuning{Deadband: 0.05, Delay: 15 * time.Second}
}
