package simulator

import (
	"time"

	"pumpside/drivers/quantity"
)

// Truth is what really happened to a skid since its start: what an agent that
// counts should arrive at. It is exact to one tick of the simulator (20 ms).
type Truth struct {
	At          time.Duration
	RunSeconds  quantity.Seconds     // motor driven and above RunningAbove of its rated speed
	TurnSeconds quantity.Seconds     // pump shaft moves at all
	Starts      uint64               // changes to running after time 0
	Revolutions float64              // of the pump shaft, in either direction; also strokes of each plunger
	Strokes     float64              // discharge strokes of all cylinders
	Delivered   quantity.CubicMeters // past the meter; back-flow counts negative
	Energy      quantity.Joules      // electrical, into the motor
	Running     bool
}
