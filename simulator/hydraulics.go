package simulator

import (
	"math"
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
	discharge float64 // mean, at the manifold
	suction   float64
	shaftLoad float64 // N·m of the pump shaft
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
	h.discharge, h.suction = k.contactor(), float64(k.set.Head)
	h.step(k)
}

// contactor is the pressure the glycol is pumped into, in Pa.
func (k *Skid) contactor() float64 {
	if p := k.faults.size[ContactorPressure]; p > 0 {
		return p * 1e6
	}
	return float64(k.set.Contactor)
}

// step moves the mean state to the present tick.
func (h *hydraulics) step(k *Skid) {
	if h.stale {
		for j := range h.worn {
			h.worn[j] = k.faults.worn(k.build[j], j)
		}
		k.ripple.make(k)
		h.stale = false
	}
	f, m := &k.faults, &k.set.Machine
	n := math.Abs(k.shaftSpeed) * 60
	rated := float64(m.Displacement(m.RatedSpeed))
	full := 1 - math.Max(f.size[GasLocked], f.size[SuctionClosed])
	h.primed = toward(h.primed, full, primeTime)

	h.delivered = k.meanFlow(n) * h.primed
	share := h.delivered / rated
	h.strainer = (cleanMesh + 10e3*f.size[StrainerPlugged]) * share * math.Sqrt(k.thickness())
	h.filter = (cleanFilter + 100e3*f.size[FilterPlugged]) * share * share
	friction := lineLoss(m.Discharge, h.delivered, k.heat.glycol) + h.filter
	passing := 1 - math.Min(1, f.size[BypassOpen]+f.size[ReliefPassing])
	h.metered = h.delivered * passing
	suction := float64(k.set.Head) - h.strainer - lineLoss(m.Suction, h.delivered, k.heat.glycol)
	if n == 0 && f.size[BackFlow] > 0 {
		h.metered = -0.1 * rated * f.size[BackFlow]
		suction += 150e3 * f.size[BackFlow]
		h.level = math.Min(1, h.level+2e-4*f.size[BackFlow]*tickSeconds)
	}
	if s := f.size[SuctionClosed]; s > 0 && n > 0 {
		suction = suction*(1-s) - 80e3*s
	}
	h.discharge = toward(h.discharge, k.contactor()+friction, pressTime)
	h.suction = toward(h.suction, suction, pressTime)
	h.level = toward(h.level, fullTank*(1-f.size[TankLow]), 600)
	h.meter(k)
	k.load()
}

// meter lets the flow meter and its totaliser follow.
func (h *hydraulics) meter(k *Skid) {
	h.shownFlow = toward(h.shownFlow, h.metered, float64(k.set.MeterTimeConstant))
	h.volume += h.shownFlow * (1 + k.probe[glycolFlow].by[Scaled-Drift].at(k.now())) * tickSeconds
}

// load is the torque and power of the motor for the present flow.
func (k *Skid) load() {
	d, h, m := &k.drive, &k.flow, &k.set.Machine
	idle := noLoadPart * k.ratedTorque() * d.speed / (float64(m.RatedSpeed) * m.GearRatio)
	difference := math.Max(0, h.discharge-h.suction)
	h.shaftLoad = float64(m.StrokeVolume()) * Cylinders * difference / (2 * math.Pi) * h.primed / float64(m.Efficiency)
	d.torque = 0
	if d.state == driveEnabled && d.speed > 0 {
		d.torque = idle + h.shaftLoad/m.GearRatio*(1-k.faults.size[BeltSlip])
	}
	d.power = d.torque * d.speed * 2 * math.Pi / 60 / motorPart
}

// meanFlow is what the heads deliver at n rpm, in m³/s.
func (k *Skid) meanFlow(n float64) float64 {
	if n == 0 {
		return 0
	}
	m := &k.set.Machine
	one := float64(m.Displacement(1)) * n / Cylinders
	ref := float64(m.Displacement(m.RatedSpeed)) / Cylinders
	sum := 0.0
	for _, h := range k.idealHeads() {
		sum += one*h.displacement*(1-h.late) - ref*(h.dischargeLoss+h.suctionLoss)/2
	}
	return math.Max(0, sum)
}

// idealHeads are the heads as the ideal pump sees them, at the present
// pressure and temperature.
func (k *Skid) idealHeads() (ideal [Cylinders]idealHead) {
	difference := math.Max(0, k.flow.discharge-k.flow.suction)
	for j, h := range k.flow.worn {
		ideal[j] = h.ideal(difference, k.flow.discharge, float64(k.set.Contactor), thinner(k.heat.oilT()))
	}
	return ideal
}

// ideal is the head at a pressure difference and discharge pressure in Pa; the
// leaks of h are stated at the rated pressure. thin is [thinner] of the oil.
func (h *head) ideal(difference, discharge, rated, thin float64) idealHead {
	squeeze := difference * (oilCompressibility*h.oil + glycolCompressibility*(h.dead+1))
	gas := h.gas * (1 - atmosphere/(discharge+atmosphere))
	linear, root := difference/rated, math.Sqrt(difference/rated)
	lift := math.Max(0, discharge/rated-0.85) / 0.15
	return idealHead{
		displacement:  h.displacement * (1 - math.Min(1, h.makeUp/thin)),
		late:          math.Min(1, squeeze+gas),
		dischargeLoss: (h.suctionLeak+4*h.suctionStuck)*root + h.plungerLeak*linear*thin + h.relief*lift,
		suctionLoss:   (h.dischargeLeak+4*h.dischargeStuck)*root + h.bypassLeak*linear,
	}
}

// toward moves x to goal as a first-order lag of time constant tau does in
// one tick.
func toward(x, goal, tau float64) float64 {
	if tau <= 0 {
		return goal
	}
	return x + (goal-x)*math.Min(1, tickSeconds/tau)
}
