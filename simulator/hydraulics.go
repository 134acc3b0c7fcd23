package simulator

import (
	"math"

	"pumpside/drivers/quantity"
)

// hydraulics is the mean flow and pressures of the pump, without ripple.
// Pressures in Pa gauge, flows in m³/s.
type hydraulics struct {
	worn  [Cylinders]head
	stale bool // worn and the ripple must be made anew

	primed    float64 // 1 full of glycol, 0 full of gas
	delivered float64 // into the discharge line
	metered   float64 // past the flow meter
	shownFlow float64 // what the meter has settled to
	volume    float64 // m³, its totaliser
	contactor float64 // what the line stands against
	discharge float64 // mean, at the manifold
	suction   float64
	level     float64 // 0..1 of the tank
	strainer  float64
	filter    float64
}

const (
	primeTime   = 4.0    // s, how fast the heads fill or lose their glycol
	pressTime   = 0.3    // s, the line
	cleanFilter = 20e3   // Pa at rated flow
	cleanMesh   = 2e3    // Pa at rated flow, warm
	fullTank    = 0.62   // level
	warmGlycol  = 4.4e-3 // Pa·s at 80 °C, for which the line's friction is given
)

func (h *hydraulics) start(k *Skid) {
	h.primed, h.stale = 1, true
	h.volume = float64(k.set.Totaliser)
	h.level = fullTank
	h.contactor = k.contactor()
	h.discharge, h.suction = h.contactor, float64(k.set.Head)
	h.step(k)
}

// contactor is the pressure the glycol is pumped into, in Pa.
func (k *Skid) contactor() float64 {
	p := float64(k.set.Contactor)
	if size := k.faults.size[ContactorPressure]; size > 0 {
		p = size * 1e6
	}
	return p * (1 + k.gusty)
}

// head is the static pressure at the suction line's tank end, in Pa.
func (k *Skid) head() float64 {
	return float64(k.set.Head) * (1 - math.Min(1, k.faults.size[TankLow]))
}

// gust lets the contactor's pressure wander; it is called once a second.
func (k *Skid) gust(sample int64) {
	const slowly = 60.0 // s
	keep := 1 - 1/slowly
	k.gusty = keep*k.gusty + math.Sqrt(1-keep*keep)*float64(k.set.PressureWander)*gauss(k.set.Seed, streamPressure, sample)
}

// step moves the mean state to the present tick.
func (h *hydraulics) step(k *Skid) {
	f := &k.faults
	h.primed = toward(h.primed, 1-math.Max(f.size[GasLocked], f.size[SuctionClosed]), primeTime)
	h.contactor = toward(h.contactor, k.contactor(), pressTime)
	if h.stale || k.ticks%propertyTicks == 0 {
		k.renew()
	}
	n := math.Abs(k.shaftSpeed) * 60
	passing := 1 - math.Min(1, f.size[BypassOpen]+f.size[ReliefPassing])
	if k.full != nil {
		k.full.step(k, &k.glances[k.ticks%int64(len(k.glances))])
		h.metered = k.full.flow * h.primed
		h.delivered = h.metered + k.full.spilled*h.primed
	} else {
		h.delivered = k.meanFlow(n) * h.primed
		h.metered = h.delivered * passing
	}
	h.stale = false
	h.pressures(k)
	h.backFlow(k, n)
	h.level = toward(h.level, fullTank*(1-f.size[TankLow]), 600)
	h.meter(k)
	k.load()
}

// pressures are the mean pressures and the differentials of strainer and filter.
func (h *hydraulics) pressures(k *Skid) {
	f, m := &k.faults, &k.set.Machine
	share := h.delivered / k.rated
	h.strainer = (cleanMesh + 10e3*f.size[StrainerPlugged]) * share * k.thicker
	h.filter = (cleanFilter + 100e3*f.size[FilterPlugged]) * share * share
	discharge, suction := h.contactor, k.head()
	if k.full == nil {
		discharge += k.lineLoss(m.Discharge, h.delivered) + h.filter + fittings*share*share
		suction -= k.lineLoss(m.Suction, h.delivered) + h.strainer
	}
	if s := f.size[SuctionClosed]; s > 0 && k.shaftSpeed != 0 {
		suction = suction*(1-s) - 80e3*s
	}
	h.discharge = toward(h.discharge, discharge, pressTime)
	h.suction = toward(h.suction, suction, pressTime)
}

// backFlow is gas that comes back through a stopped pump.
func (h *hydraulics) backFlow(k *Skid, n float64) {
	size := k.faults.size[BackFlow]
	if n != 0 || size == 0 {
		return
	}
	h.metered = -0.1 * k.rated * size
	h.suction = toward(h.suction, k.head()+150e3*size, pressTime)
	h.level = math.Min(1, h.level+2e-4*size*tickSeconds)
}

// propertyTicks is how seldom the liquids' properties are taken anew.
const propertyTicks = 50

// renew takes the heads and the properties of the liquids as they are now.
func (k *Skid) renew() {
	k.thin = thinner(k.heat.oilT())
	glycol := quantity.Celsius(k.heat.glycol)
	k.density, k.viscosity = float64(GlycolDensity(glycol)), float64(GlycolViscosity(glycol))
	k.thicker = math.Sqrt(k.viscosity / warmGlycol)
	if !k.flow.stale {
		return
	}
	for j := range k.flow.worn {
		k.flow.worn[j] = k.faults.worn(k.build[j], j)
	}
	if k.full == nil {
		k.ripple.make(k)
	}
}

// meter lets the flow meter and its totaliser follow.
func (h *hydraulics) meter(k *Skid) {
	h.shownFlow = toward(h.shownFlow, h.metered, float64(k.set.MeterTimeConstant))
	h.volume += h.shownFlow * (1 + k.probe[glycolFlow].size(Scaled, k.now())) * tickSeconds
}

// load is the torque and power of the motor for the present flow.
func (k *Skid) load() {
	d := &k.drive
	d.torque = 0
	if d.drives() && d.speed > 0 {
		gear := k.set.Machine.GearRatio
		idle := noLoadPart * k.ratedTorque() * d.speed / (float64(k.set.Machine.RatedSpeed) * gear)
		d.torque = idle + k.shaftTorque()/gear*(1-k.faults.size[BeltSlip])
	}
	d.power = d.torque * d.speed * 2 * math.Pi / 60 / motorPart
}

// shaftTorque is the pump shaft's mean over a turn, in N·m.
func (k *Skid) shaftTorque() float64 {
	h, m := &k.flow, &k.set.Machine
	if k.full != nil {
		return k.full.torque * h.primed / float64(m.Efficiency)
	}
	difference := math.Max(0, h.discharge-h.suction)
	return float64(m.StrokeVolume()) * Cylinders * difference / (2 * math.Pi) * h.primed / float64(m.Efficiency)
}

// toward moves x to goal as a first-order lag of time constant tau does in
// one tick.
func toward(x, goal, tau float64) float64 {
	if tau <= 0 {
		return goal
	}
	return x + (goal-x)*math.Min(1, tickSeconds/tau)
}
