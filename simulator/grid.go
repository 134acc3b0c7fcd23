package simulator

import "math"

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
	if u.circuit != nil {
		circuit.adopt(u.circuit) // near enough to settle sooner than from rest
	}
	u.circuit, u.wearID = circuit, at.wear
	y := solveCycle(circuit, &c)
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

// cavity is the noise of a pump whose chambers fall to a pressure (Pa
// absolute) at which bubbles form, of the order of a hundredth of the
// discharge pressure (common practice, no source).
func cavity(lowest float64) float64 {
	const begins, loudest = 20e3, 80e3
	return loudest * math.Max(0, 1-lowest/begins)
}
