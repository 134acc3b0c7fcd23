package diagnosis

import (
	"math"

	"pumpside/rules/pump"
)

// The names of the causes, as alarms, metrics and MQTT carry them.
const (
	LossInDischargeHalf = "loss_in_discharge_half"
	LossInSuctionHalf   = "loss_in_suction_half"
	SmallHead           = "under_stroked_head"
	LateHead            = "late_head"
	SpeedWobble         = "speed_wobble"
	LineChanged         = "dampener_or_line_changed"
	AllHeadsLate        = "oil_low_or_aerated"
	SuctionStarved      = "suction_starved"
	UniformWear         = "uniform_wear"
	BypassPassing       = "bypass_or_relief_passing"
	TransmissionSlip    = "transmission_slip"
	GasLocked           = "gas_locked"
	FlowMeter           = "flow_meter_wrong"
	Transmitter         = "pressure_transmitter_changed"
	IndexMoved          = "index_moved"
	NoneOfThese         = "none_of_these"
)

// A spread is what a cause makes of a number: a mean and how far around it.
type spread struct{ mean, error float64 }

// An effect is what one cause of one size does to every indicator.
type effect struct {
	flow [mostOrder + 1]complex128 // orders of the flow, by the ideal mean flow of the pump
	// model is the relative error of flow, floor an order of any size beside it.
	model, floor float64
	// higher is like floor for orders above the first, where flow has little
	// and what valves do besides weighs as much.
	higher float64
	// loose is how far every order may move besides, by its own baseline.
	loose      float64
	efficiency spread // relative change
	torque     spread // relative change, by pressure
	// third and sixth are ln of the growth of orders 3 and 6, beside what
	// flow does to them.
	third, sixth spread
	turn         float64 // radians the ripple may turn by against the index
	half         bool    // flow is that of one half; where none can be told, either's
	suction      spread  // Pa
	free         bool    // each indicator is as it was, or anywhere
}

// still is an effect on nothing. The errors are what indicators of a pump that
// is well drift by within a band (common practice, no source).
func still() effect {
	return effect{
		model: 0.2, efficiency: spread{0, 0.007}, torque: spread{0, 0.02},
		third: spread{0, 0.06}, sixth: spread{0, 0.08}, suction: spread{0, 3e3}, turn: 0.12,
	}
}

// A cause is one row of the table.
type cause struct {
	name  string
	prior float64 // before any evidence (common practice, no source)
	// least and most bound the size, evenly distributed on a log scale.
	least, most float64
	heads       bool // of one cylinder
	directed    bool // of one direction of the shaft, which nobody knows
	// effect is that of a cylinder, from 1, or of one of the directions.
	effect func(m *Model, late, size float64, cylinder int) effect
}

// causes is the table: what the trade sees fail, and what each does. Shares of
// flow are by the pump's ideal mean; one head's size is by its own.
var causes = []cause{
	{LossInDischargeHalf, 0.17, 0.005, 1.5, true, false, halfLoss(pump.Suction)},
	{LossInSuctionHalf, 0.17, 0.005, 1.5, true, false, halfLoss(pump.Discharge)},
	{SmallHead, 0.015, 0.005, 1, true, false, func(m *Model, late, size float64, cylinder int) effect {
		e := still()
		for k := 1; k <= mostOrder; k++ {
			e.flow[k] = complex(-size, 0) * m.head(cylinder, late, k)
		}
		part := size / float64(m.Geometry.Cylinders)
		e.efficiency, e.torque = lost(part), lost(0.8*part)
		return e
	}},
	{LateHead, 0.03, 0.01, 0.7, true, false, func(m *Model, late, size float64, cylinder int) effect {
		e := still()
		for k := 1; k <= mostOrder; k++ {
			e.flow[k] = m.head(cylinder, math.Min(late+size, 0.99), k) - m.head(cylinder, late, k)
		}
		part := size / float64(m.Geometry.Cylinders)
		e.model = 0.3
		e.efficiency, e.torque = spread{-part, 0.01 + 0.4*part}, spread{-0.5 * part, 0.02 + 0.5*part}
		return e
	}},
	{SpeedWobble, 0.015, 0.002, 0.2, false, true, wobble},
	{LineChanged, 0.08, 0.1, 2, false, false, func(_ *Model, _, size float64, _ int) effect {
		e := still()
		e.loose = size
		e.third, e.sixth, e.turn = spread{0.3 * size, size}, spread{0.3 * size, size}, 0.12+0.5*size
		return e
	}},
	{AllHeadsLate, 0.06, 0.01, 0.4, false, false, func(_ *Model, _, size float64, _ int) effect {
		e := still()
		e.floor, e.loose = 0.05*size, 3*size
		e.efficiency, e.torque = spread{-size, 0.01 + 0.4*size}, spread{-0.6 * size, 0.02 + 0.5*size}
		e.third, e.sixth, e.turn = spread{5 * size, 0.1 + 3*size}, spread{3 * size, 0.15 + 3*size}, 0.12+3*size
		return e
	}},
	{SuctionStarved, 0.1, 0.01, 0.5, false, false, func(_ *Model, _, size float64, _ int) effect {
		e := still()
		e.floor, e.loose = 0.05*size, 3*size
		e.efficiency, e.torque = spread{-size, 0.01 + 0.5*size}, spread{-0.5 * size, 0.03 + 0.5*size}
		e.third, e.sixth, e.turn = spread{2 * size, 0.1 + 3*size}, spread{3 * size, 0.15 + 3*size}, 0.12+3*size
		e.suction = spread{-30e3, 30e3}
		return e
	}},
	{UniformWear, 0.05, 0.005, 0.3, false, false, func(_ *Model, _, size float64, _ int) effect {
		e := still()
		e.floor = 0.02 * size
		e.efficiency, e.torque = lost(size), spread{0, 0.02 + 0.3*size}
		e.third, e.sixth = spread{0, 0.06 + size}, spread{0, 0.08 + size}
		return e
	}},
	{BypassPassing, 0.08, 0.005, 0.9, false, false, func(_ *Model, _, size float64, _ int) effect {
		e := still()
		e.efficiency = lost(size)
		e.third, e.sixth = spread{-0.3 * size, 0.06 + 0.5*size}, spread{-0.3 * size, 0.08 + 0.5*size}
		e.loose = 0.1 + size
		return e
	}},
	{TransmissionSlip, 0.02, 0.5, 1, false, false, nothingMoves},
	{GasLocked, 0.02, 0.5, 1, false, false, nothingMoves},
	{FlowMeter, 0.06, 0.01, 0.5, false, false, func(_ *Model, _, size float64, _ int) effect {
		e := still()
		e.efficiency = spread{0, 0.007 + size}
		return e
	}},
	{Transmitter, 0.04, 0.05, 1, false, false, func(_ *Model, _, size float64, _ int) effect {
		e := still()
		e.loose = size
		e.third, e.sixth, e.turn = spread{-0.5 * size, 0.05 + 0.5*size}, spread{-0.5 * size, 0.05 + 0.5*size}, 0.12+0.3*size
		e.torque = spread{0, 0.02 + 0.2*size}
		return e
	}},
	{IndexMoved, 0.01, 0.3, 2, false, false, func(_ *Model, _, size float64, _ int) effect {
		e := still()
		e.loose, e.turn = size, 2 // vectors turn, amplitudes stay
		return e
	}},
	{NoneOfThese, 0.06, 1, 1, false, false, noneOfThese},
}

// halfLoss is what a leak does that flows while its cylinder has the pressure
// to drive it. The part named is the valve that stands closed then; a plunger
// seal or the relief valve of an oil cell looks like a suction valve.
func halfLoss(valve pump.Side) func(*Model, float64, float64, int) effect {
	return func(m *Model, late, size float64, cylinder int) effect {
		e := still()
		n := float64(m.Geometry.Cylinders)
		at := pump.Position{Cylinder: cylinder, Side: valve}
		for k := 1; k <= mostOrder; k++ {
			e.flow[k] = complex(size/n, 0) * m.leakOrder(late, at, k)
		}
		e.model, e.higher, e.half = 0.1, 0.05*size/n, true
		e.efficiency = spread{-size / 2 / n, 0.007 + 0.1*size/n}
		e.torque = spread{0, 0.02 + 0.2*size/n}
		return e
	}
}

// directions are as many as a once-per-turn change of the speed is tried at.
const directions = 16

// wobble is a speed that goes as 1 + e·cos(θ − φ) within a turn. The angle then
// runs ahead by e·sin(θ − φ), so that order k of the flow, c, appears beside
// itself, at k + 1 with e·(k + 1)/2·c·exp(−iφ) and at k − 1 with
// −e·(k − 1)/2·c·exp(iφ), and the mean at once per turn.
func wobble(m *Model, late, size float64, direction int) effect {
	e := still()
	sin, cos := math.Sincos(2 * math.Pi * float64(direction) / directions)
	ahead, back := complex(size*cos, -size*sin), complex(size*cos, size*sin)
	third, sixth := m.all(late, 3), m.all(late, 6)
	e.flow[1] = ahead
	e.flow[2], e.flow[4] = -back*third, 2*ahead*third
	e.flow[5] = -2.5 * back * sixth
	e.model, e.higher = 0.25, 0.02*size
	return e
}

func nothingMoves(_ *Model, _, _ float64, _ int) effect {
	e := still()
	e.efficiency, e.torque = spread{-0.9, 0.2}, spread{-0.8, 0.2}
	e.third, e.sixth, e.turn = spread{-4, 2}, spread{-4, 2}, 2
	e.loose = 1
	return e
}

// lost is a share of the flow lost, or of the torque.
func lost(part float64) spread { return spread{-part, 0.007 + 0.2*part} }

// noneOfThese is a change of anything by any amount, each indicator by itself.
func noneOfThese(_ *Model, _, _ float64, _ int) effect {
	e := still()
	e.free = true
	return e
}
