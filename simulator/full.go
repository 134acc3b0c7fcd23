package simulator

import (
	"math"
	"time"
)

// The Full detail has two ways to the pressure of an instant.
//
// While the speed changes, and for some seconds after, the circuit is
// integrated through every tick and sampled each millisecond.
//
// At steady speed the pressure repeats with the shaft: the periodic state is
// solved at the corners of a grid of conditions and looked up by angle. The
// pump is nearly always between corners, so the corners around it are
// averaged: the weights of Kuhn's simplex need only one corner more than
// there are coordinates, and are continuous across the grid.

// A wear is everything of a condition that faults change.
type wear struct {
	heads    [Cylinders]head
	piping   piping
	wobble   float64
	reversed bool
}

// A corner of the grid. Each coordinate counts grid steps from the pump's own
// settings.
type corner struct {
	wear  int32
	place [coordinates]int16
}

const (
	bySpeed = iota
	byContactor
	byGlycol
	byOil
	coordinates
)

// The steps of the grid.
const (
	speedStep    = 0.02 // of rated speed
	pressureStep = 0.05 // of the contactor's setting
	heatStep     = 10.0 // K
	oilAnchor    = 55.0 // °C, where the oil of a warm pump is about
)

// A weighted is a solved corner with its share.
type weighted struct {
	*solution
	share float64
}

// A solution is what is kept of a periodic state: pressures above the vessels
// they stand against, as the transmitters' own lag shows them.
type solution struct {
	pressure              [2][cycleSize]float32 // discharge, suction
	flow, spilled, torque float64
	mean                  float64 // Pa of the discharge
	cavity                float64 // Pa, the noise of bubbles that collapse
}

// A full is the Full detail of one skid.
type full struct {
	solved map[corner]*solution
	oldest []corner
	wears  map[wear]int32

	now, next wear    // faults now and at the end of their present piece of growth
	nowID     int32   // of now
	nextID    int32   // of next
	from, to  float64 // s, the piece
	piece     time.Duration
	stale     bool // the faults have changed but by growing

	circuit *circuit // last used, to start the next from
	live    bool     // circuit is the pump's own state at this instant
	wearID  int32    // of circuit
	calm    float64  // s since the speed last changed
	lagged  [2]path
	flow    float64 // m³/s in the present tick
	spilled float64
	torque  float64 // N·m on the plungers
	mean    float64 // Pa of the discharge pressure above the vessel's
}

const (
	calmAfter    = 3.0 // s of steady speed until the periodic state is there
	mostCorners  = 400
	liveSamples  = 20 // in a tick
	growthPieces = 24 // in the onset of a fault
)

// A glance is what is needed to look up the pressure in one tick.
type glance struct {
	mix     [2 * (coordinates + 1)]weighted
	used    int
	live    bool
	cavity  float64
	samples [2][liveSamples + 1]float32 // with live
}

// cavity is the noise of a pump whose chambers fall to a pressure (Pa
// absolute) at which bubbles form, of the order of a hundredth of the
// discharge pressure (common practice, no source).
func cavity(lowest float64) float64 {
	const begins, loudest = 20e3, 80e3
	return loudest * math.Max(0, 1-lowest/begins)
}

func newFull() *full {
	return &full{solved: map[corner]*solution{}, wears: map[wear]int32{}, stale: true}
}

// weather is the wear at an instant.
func (k *Skid) weather(at time.Duration) wear {
	f := &k.faults
	f.refresh(at)
	w := wear{
		piping: piping{
			tank:       float64(k.set.Head) * math.Min(1, f.size[TankLow]),
			strainer:   10e3 * f.size[StrainerPlugged],
			filter:     100e3 * f.size[FilterPlugged],
			bypass:     math.Min(1, f.size[BypassOpen]+f.size[ReliefPassing]),
			noGas:      f.size[DampenerLost],
			overcharge: f.size[DampenerOver],
			others:     k.othersFlow(),
		},
		wobble:   math.Min(0.5, f.size[SpeedWobble]),
		reversed: k.reversed,
	}
	for j := range w.heads {
		w.heads[j] = f.worn(k.build[j], j)
	}
	return w
}

// othersFlow is what the other pumps of the header deliver, in twentieths of
// this pump's displacement.
func (k *Skid) othersFlow() float64 {
	sum := 0.0
	for _, other := range k.header {
		if other != k {
			sum += other.flow.delivered
		}
	}
	return math.Round(20*sum/k.rated) / 20 * k.rated
}

// grow takes over the faults when they have changed. A fault that grows is
// cut into pieces, within which the pressures change in a straight line.
func (u *full) grow(k *Skid, at time.Duration) {
	u.now = k.weather(at)
	u.nowID = u.intern(u.now)
	u.nextID, u.from, u.to = u.nowID, at.Seconds(), math.Inf(1)
	if at < k.faults.settled {
		if u.stale {
			u.piece = max((k.faults.settled-at)/growthPieces, 5*time.Second)
		}
		end := min(at+u.piece, k.faults.settled)
		u.next = k.weather(end)
		u.nextID, u.to = u.intern(u.next), end.Seconds()
		k.faults.refresh(at)
	}
	u.stale = false
}

func (u *full) intern(w wear) int32 {
	if len(u.wears) > mostCorners { // forget everything but the present
		clear(u.wears)
		clear(u.solved)
		u.oldest = nil
		u.nowID = u.intern(u.now)
	}
	id, ok := u.wears[w]
	if !ok {
		id = int32(len(u.wears))
		u.wears[w] = id
	}
	return id
}

// step settles flow and pressures of the present tick into p.
func (u *full) step(k *Skid, p *glance) {
	at := k.now()
	if u.stale || at.Seconds() >= u.to || u.now.piping.others != k.othersFlow() {
		u.grow(k, at)
	}
	turning := math.Abs(k.shaftSpeed)
	p.used, p.live, p.cavity = 0, false, 0
	u.flow, u.spilled, u.torque, u.mean = 0, 0, 0, 0
	u.calm += tickSeconds
	if !k.drive.steady() || turning == 0 {
		u.calm = 0
	}
	switch {
	case turning == 0:
		u.live = false
	case u.calm < calmAfter && k.ticks > 0:
		u.integrate(k, p)
	default:
		u.live = false
		u.mix(k, p)
	}
}

// mix finds the corners around the present condition.
func (u *full) mix(k *Skid, p *glance) {
	place := u.place(k)
	grown := 0.0
	if u.nextID != u.nowID {
		grown = (k.now().Seconds() - u.from) / (u.to - u.from)
	}
	u.around(k, p, place, u.nowID, &u.now, 1-grown)
	if grown > 0 {
		u.around(k, p, place, u.nextID, &u.next, grown)
	}
	for _, w := range p.mix[:p.used] {
		u.flow += w.share * w.flow
		u.spilled += w.share * w.spilled
		u.torque += w.share * w.torque
		u.mean += w.share * w.mean
		p.cavity += w.share * w.cavity
	}
}

// place is the present condition in steps of the grid.
func (u *full) place(k *Skid) [coordinates]float64 {
	s := &k.set
	return [coordinates]float64{
		bySpeed:     (math.Abs(k.shaftSpeed)*60/float64(s.Machine.RatedSpeed) - 1) / speedStep,
		byContactor: (k.flow.contactor/float64(s.Contactor) - 1) / pressureStep,
		byGlycol:    (k.heat.glycol - float64(s.Glycol)) / heatStep,
		byOil:       (k.heat.oil - oilAnchor) / heatStep,
	}
}

// around adds the corners of the simplex that holds place, with weights that
// sum to share. Starting at the lower corner of the cell, the coordinates are
// raised one after the other, the one with the largest part first.
func (u *full) around(k *Skid, p *glance, place [coordinates]float64, id int32, w *wear, share float64) {
	at := corner{wear: id}
	var part [coordinates]float64
	for i, x := range place {
		whole := math.Floor(x)
		at.place[i], part[i] = int16(whole), x-whole
	}
	left := 1.0
	for {
		largest := 0
		for i := range part {
			if part[i] > part[largest] {
				largest = i
			}
		}
		u.add(k, p, at, w, share*(left-math.Max(0, part[largest])))
		if part[largest] <= 0 {
			return
		}
		left = part[largest]
		part[largest] = -1
		at.place[largest]++
	}
}

func (u *full) add(k *Skid, p *glance, at corner, w *wear, share float64) {
	if share < 1e-6 {
		return
	}
	s, ok := u.solved[at]
	if !ok {
		s = u.solve(&k.set, at, w)
	}
	p.mix[p.used] = weighted{s, share}
	p.used++
}

// condition is that of a corner.
func (at corner) condition(s *Settings, w *wear) condition {
	step := func(i int, by float64) float64 { return float64(at.place[i]) * by }
	return condition{
		speed:     float64(s.Machine.RatedSpeed) * math.Max(speedStep, 1+step(bySpeed, speedStep)),
		contactor: float64(s.Contactor) * math.Max(pressureStep, 1+step(byContactor, pressureStep)),
		head:      float64(s.Head) - w.piping.tank,
		glycol:    float64(s.Glycol) + step(byGlycol, heatStep),
		oil:       oilAnchor + step(byOil, heatStep),
		heads:     w.heads, piping: w.piping, wobble: w.wobble, reversed: w.reversed,
	}
}

// solve solves a corner and keeps it; the oldest goes when there are many.
func (u *full) solve(s *Settings, at corner, w *wear) *solution {
	c := at.condition(s, w)
	circuit := newCircuit(s, &c)
	if u.circuit != nil && !u.live {
		circuit.adopt(u.circuit)
	}
	y := solveCycle(circuit, &c)
	if !u.live {
		u.circuit, u.wearID = circuit, at.wear
	}
	out := &solution{flow: y.flow, spilled: y.spilled, torque: y.torque, cavity: cavity(y.lowest)}
	above(&out.pressure[0], &y.discharge, c.contactor, c.speed, &s.Discharge)
	above(&out.pressure[1], &y.suction, c.head, c.speed, &s.Suction)
	for _, x := range out.pressure[0] {
		out.mean += float64(x) / cycleSize
	}
	if len(u.oldest) >= mostCorners {
		delete(u.solved, u.oldest[0])
		u.oldest = u.oldest[1:]
	}
	u.solved[at] = out
	u.oldest = append(u.oldest, at)
	return out
}

// integrate runs the circuit through the present tick and samples it.
func (u *full) integrate(k *Skid, p *glance) {
	s := &k.set
	if !u.live || u.wearID != u.nowID {
		u.revive(k)
	}
	c := u.circuit
	c.out.node[len(c.out.node)-1] = k.flow.contactor + atmosphere
	c.in.node[len(c.in.node)-1] = k.head() + atmosphere
	dir := math.Copysign(1, k.shaftSpeed)
	theta := 2 * math.Pi * k.shaft * dir
	speed := 2 * math.Pi * math.Abs(k.shaftSpeed)
	per := max(4, int(math.Ceil(speed*tickSeconds/liveSamples/(2*math.Pi/cycleSize/perPoint))))
	dt := tickSeconds / liveSamples / float64(per)
	p.live = true
	u.sample(s, k, p, 0)
	for i := range liveSamples {
		for j := range per {
			turned := theta + speed*dt*float64(i*per+j+1)
			c.step(wobbled(turned, u.now.wobble), dt, speed)
			u.flow += dt / tickSeconds * c.out.flow[0]
			u.spilled += dt / tickSeconds * c.spill()
			u.torque += c.work / (speed * tickSeconds)
		}
		u.sample(s, k, p, i+1)
		u.mean += float64(p.samples[0][i+1]) / liveSamples
	}
}

// sample passes the pressures through what stands before the transmitters'
// converters.
func (u *full) sample(s *Settings, k *Skid, p *glance, i int) {
	x := [2]float64{
		u.circuit.discharge.pressure - atmosphere - k.flow.contactor,
		u.circuit.suction.pressure - atmosphere - k.head(),
	}
	for n, t := range [...]*Transmitter{&s.Discharge, &s.Suction} {
		if i > 0 {
			u.lagged[n].pass(t, x[n], tickSeconds/liveSamples)
		}
		p.samples[n][i] = float32(u.lagged[n].value)
	}
}

// revive makes the circuit the pump's own: from rest, or from the periodic
// state at the present speed.
func (u *full) revive(k *Skid) {
	s := &k.set
	c := condition{
		speed: float64(s.Machine.RatedSpeed), contactor: k.flow.contactor, head: k.head(),
		glycol: k.heat.glycol, oil: k.heat.oil,
		heads: u.now.heads, piping: u.now.piping, wobble: u.now.wobble, reversed: u.now.reversed,
	}
	fresh := newCircuit(s, &c)
	speed := math.Abs(k.shaftSpeed)
	switch {
	case u.live: // only the faults have changed
		fresh.adopt(u.circuit)
	case speed*60 > 0.3*float64(s.Machine.RatedSpeed):
		c.speed = speed * 60
		solveCycle(fresh, &c)
		fresh.turnTo(2*math.Pi*k.shaft*math.Copysign(1, k.shaftSpeed), 2*math.Pi*speed)
	default:
		u.lagged = [2]path{}
	}
	u.circuit, u.live, u.wearID = fresh, true, u.nowID
}

// wobbled is the angle of a shaft whose speed swings once per turn by the part
// e: dθ/dt = ω(1 + e·cos θ), to the first order of e.
func wobbled(theta, e float64) float64 { return theta + e*math.Sin(theta) }

// pressure is the discharge or suction pressure over its vessel's, at an angle
// in turns and the part of the tick that has passed.
func (p *glance) pressure(id signal, turns, part float64) float64 {
	n := 0
	if id == suctionPressure {
		n = 1
	}
	if p.live {
		x := math.Max(0, math.Min(1, part)) * liveSamples
		i := min(int(x), liveSamples-1)
		f := float32(x) - float32(i)
		return float64(p.samples[n][i]*(1-f) + p.samples[n][i+1]*f)
	}
	x := (turns - math.Floor(turns)) * cycleSize
	i := int(x)
	f := float32(x - float64(i))
	i %= cycleSize
	j := (i + 1) % cycleSize
	sum := 0.0
	for m := range p.mix[:p.used] {
		w := &p.mix[m]
		table := &w.pressure[n]
		sum += w.share * float64(table[i]*(1-f)+table[j]*f)
	}
	return sum
}
