package simulator

import (
	"math"

	"pumpside/drivers/quantity"
)

// A condition is everything a periodic state depends on.
type condition struct {
	speed     float64 // rpm of the pump shaft, above 0
	contactor float64 // Pa gauge
	head      float64 // Pa gauge, suction tank
	glycol    float64 // °C
	oil       float64 // °C
	heads     [Cylinders]head
	piping    piping
	wobble    wobble
	reversed  bool
}

// piping is what can be wrong outside the heads.
type piping struct {
	tank       float64 // Pa of the suction head lost
	strainer   float64 // Pa at rated flow, warm
	filter     float64 // Pa at rated flow
	bypass     float64 // part of the rated flow at rated pressure
	noGas      float64 // dampener's gas lost, 0..1
	overcharge float64 // 0..1
	others     float64 // m³/s mean of other pumps in the same discharge line
}

// heads of more than one pump stand on the same manifolds; shift is the angle
// by which the second pump's cylinders follow the first's.
func newCircuit(s *Settings, c *condition) *circuit {
	m := &s.Machine
	glycol, oil := quantity.Celsius(c.glycol), quantity.Celsius(c.oil)
	density, viscosity := float64(GlycolDensity(glycol)), float64(GlycolViscosity(glycol))
	rated := float64(m.Displacement(m.RatedSpeed))
	omega := 3 * c.speed * 2 * math.Pi / 60
	k := &circuit{
		mechanism: m.Mechanism,
		tank:      c.head + atmosphere,
		discharge: manifold{liquid: float64(m.Discharge.Manifold), bubble: math.Max(leastBubble, float64(m.Discharge.Bubble))},
		suction:   manifold{liquid: float64(m.Suction.Manifold), bubble: math.Max(leastBubble, float64(m.Suction.Bubble))},
		out:       newPipe(m.Discharge, density, viscosity, c.contactor+atmosphere, omega),
		in:        newPipe(m.Suction, density, viscosity, c.head+atmosphere, omega),
		bypass:    c.piping.bypass * rated / math.Sqrt(float64(s.Contactor)),
	}
	k.discharge.liquid += k.out.half()
	k.suction.liquid += k.in.half()
	if gas := float64(m.Dampener.Gas) * (1 - c.piping.noGas); gas > 0 {
		k.discharge.gas = gas
		k.discharge.charge = float64(m.Dampener.Charge) + atmosphere
		if c.piping.overcharge > 0 {
			k.discharge.charge += c.piping.overcharge * 1.2 * float64(s.Contactor)
		}
	}
	k.out.entry = (cleanFilter + c.piping.filter) / (rated * rated)
	k.out.others = c.piping.others
	k.out.exit = fittings / (rated * rated)
	k.in.entry = (cleanMesh + c.piping.strainer) * math.Sqrt(viscosity/warmGlycol) / (rated * rated)
	for j := range c.heads {
		k.chambers = append(k.chambers, newChamber(s, c, j, density, oil))
	}
	k.start()
	return k
}

const (
	leastBubble = 1e-9  // m³ in a manifold: its pressure never reaches a vacuum
	fittings    = 100e3 // Pa at rated flow: line check valve and the nozzle at the contactor
	leastGas    = 1e-4  // of a plunger's displacement: no liquid is quite free of gas
)

// newChamber is head j of a condition. The leaks of a head are shares of a
// healthy cylinder's mean flow at the settings' own pressure and rated speed.
func newChamber(s *Settings, c *condition, j int, density float64, oil quantity.Celsius) chamber {
	m, h := &s.Machine, &c.heads[j]
	swept := float64(m.StrokeVolume())
	mean := float64(m.Displacement(m.RatedSpeed)) / Cylinders
	rated := float64(s.Contactor)
	order := j
	if c.reversed {
		order = (Cylinders - j) % Cylinders
	}
	thin := thinner(oil)
	valve := func(v Valve, leak, seep, lazy, stuck float64) checkValve {
		return checkValve{
			open:    orificeFactor(float64(v.Area), density),
			leak:    leak * mean / math.Sqrt(rated),
			seep:    seep * mean / rated,
			opening: float64(v.Opening),
			full:    float64(v.Full),
			lag:     float64(v.Lag) + lazy/20*60/float64(m.RatedSpeed),
			haste:   1 / (1 + 50*lazy),
			least:   stuck,
		}
	}
	return chamber{
		phase:     float64(order) * 2 * math.Pi / Cylinders,
		swept:     swept * h.displacement * (1 - math.Min(1, h.makeUp/thin)),
		fixed:     swept * (h.dead + h.oil),
		gas:       swept * math.Max(leastGas, h.gas),
		oilFull:   swept * h.oil,
		plunger:   h.plungerLeak * mean / rated * thin,
		lifts:     0.85 * rated,
		relief:    h.relief * mean / (0.15 * rated),
		suction:   valve(m.SuctionValve, h.suctionLeak, 0, h.suctionLazy, h.suctionStuck),
		discharge: valve(m.DischargeValve, h.dischargeLeak, h.bypassLeak, h.dischargeLazy, h.dischargeStuck),
	}
}
