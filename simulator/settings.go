package simulator

import (
	"fmt"

	"pumpside/drivers/quantity"
)

// Settings are all a skid is built from. Start from [DefaultSettings].
type Settings struct {
	// Seed fixes the build scatter, every noise and every wander.
	Seed    uint64
	Machine Machine
	Scatter Scatter
	Detail  Detail

	Contactor quantity.Pascals // pressure the glycol is pumped into
	Head      quantity.Pascals // static pressure at the suction line's tank end
	Glycol    quantity.Celsius // lean glycol at the pump
	Ambient   quantity.Celsius

	PlungerLeak quantity.Ratio // of every head when new, see the Action of that name
	OilAir      quantity.Ratio // air in the oil at atmospheric pressure, over a plunger's displacement

	Wander         quantity.Ratio   // standard deviation of the speed, over seconds
	PressureWander quantity.Ratio   // standard deviation of the contactor's pressure, over minutes
	Ramp           quantity.Seconds // from rest to rated speed
	SpeedFilter    quantity.Seconds // of the drive's shown speed

	Discharge, Suction Transmitter

	// Gateway is how often a gateway between the devices and the bus reads
	// them: every register then shows what it was at the gateway's last
	// round. 0 has none.
	Gateway quantity.Seconds

	IndexPulses int     // of the index per pump turn
	IndexOffset float64 // turns between the first pulse and cylinder 1's start of discharge

	Running           bool // turning at rated speed since long before time 0
	RunHours          float64
	PowerOnHours      float64
	Totaliser         quantity.CubicMeters
	RunningAbove      quantity.Ratio // part of rated speed that counts as running in [Truth]
	MeterTimeConstant quantity.Seconds
}

// A Detail says how closely the pressure ripple is computed.
type Detail uint8

// The levels of detail.
const (
	// Mean gives every skid one ripple table from ideal kinematics and the
	// line's inertance: right in size, cheap enough for hundreds of pumps.
	Mean Detail = iota
	// Full looks the ripple up in the periodic solution of valves, chambers
	// and piping for the present speed, pressure, temperatures and faults.
	Full
)

// Scatter is how far a head may be from the drawing, each way; the seed draws
// evenly within.
type Scatter struct {
	Displacement quantity.Ratio
	DeadVolume   quantity.Ratio
	Opening      quantity.Ratio // of the stroke, by which a discharge valve opens later or earlier
}

// A Transmitter is a pressure transmitter with what stands before it.
type Transmitter struct {
	Damping quantity.Seconds // time constant set in the transmitter
	Snubber quantity.Seconds // time constant of a snubber or throttled needle valve
	Average quantity.Seconds // an analog module's mains rejection: a running mean over this time
	Update  quantity.Seconds // a new value appears this often; 0 is at every read
	Noise   quantity.Ratio   // standard deviation over the span
	Bits    int              // of the converter, at most 12; 0 is 12
}

// DefaultSettings is a warm pump at rest with plain, quick transmitters.
func DefaultSettings(seed uint64) Settings {
	quick := Transmitter{Damping: 0.02, Update: 0.01, Noise: 0.001, Bits: 12}
	return Settings{
		Seed:              seed,
		Machine:           DefaultMachine(),
		Scatter:           Scatter{Displacement: 0.01, DeadVolume: 0.1, Opening: 0.02},
		Contactor:         7e6,
		Head:              30e3,
		Glycol:            80,
		Ambient:           20,
		PlungerLeak:       0.03,
		OilAir:            0.02,
		Wander:            0.002,
		PressureWander:    0.002,
		Ramp:              8,
		SpeedFilter:       0.1,
		Discharge:         quick,
		Suction:           quick,
		IndexPulses:       1,
		RunningAbove:      0.05,
		MeterTimeConstant: 1,
	}
}

func (s *Settings) check() error {
	m := &s.Machine
	switch {
	case !(m.Bore > 0 && m.Stroke > 0 && m.GearRatio > 0 && m.RatedSpeed > 0 && m.PolePairs > 0):
		return fmt.Errorf("machine: bore %v m, stroke %v m, gear ratio %v, rated speed %v rpm and pole pairs %d must all be above 0",
			m.Bore, m.Stroke, m.GearRatio, m.RatedSpeed, m.PolePairs)
	case m.Mechanism.Motion != Sine && !(m.Mechanism.RodRatio > 1):
		return fmt.Errorf("mechanism: rod ratio %v must be above 1", m.Mechanism.RodRatio)
	case !(m.DeadVolume > 0 && m.OilVolume > 0):
		return fmt.Errorf("machine: dead volume %v and oil volume %v must be above 0", m.DeadVolume, m.OilVolume)
	case !(s.Contactor > 0):
		return fmt.Errorf("contactor pressure %v Pa must be above 0", s.Contactor)
	case s.IndexPulses < 0:
		return fmt.Errorf("index pulses %d must not be negative", s.IndexPulses)
	}
	return nil
}
