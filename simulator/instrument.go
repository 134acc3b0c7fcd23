package simulator

import (
	"math"
	"time"
)

// An instrument is what is wrong with one signal.
type instrument struct {
	by   [5]severity // Drift, Frozen, Failed, Noisy, Scaled
	held uint32      // the raw value it froze at
}

func (p *instrument) set(e Event, now time.Duration) { p.by[e.Do-Drift].set(e, now) }

func (p *instrument) size(a Action, now time.Duration) float64 { return p.by[a-Drift].at(now) }

func (p *instrument) is(a Action, now time.Duration) bool { return p.size(a, now) >= 0.5 }

// distort is what the instrument makes of the value x of a span, taken as its
// sample number n. deviation is the noise of a good instrument over the span.
func (p *instrument) distort(x, span, deviation float64, seed uint64, id signal, n int64, now time.Duration) float64 {
	noise := math.Hypot(deviation, p.size(Noisy, now))
	if noise > 0 {
		x += noise * span * gauss(seed, streamSensor+uint64(id), n)
	}
	return x*(1+p.size(Scaled, now)) + p.size(Drift, now)*span
}

// pressureCounts is the reading of a pressure transmitter at an instant, in
// counts of its converter.
func (k *Skid) pressureCounts(id signal, at time.Duration) uint16 {
	p := &k.probe[id]
	if p.is(Failed, at) {
		return 0 // below the span: a module without diagnosis shows its lowest count
	}
	t, low, high := &k.set.Discharge, dischargeLow+0.0, dischargeHigh+0.0
	if id == suctionPressure {
		t, low, high = &k.set.Suction, suctionLow, suctionHigh
	}
	sample := int64(at)
	if update := time.Duration(float64(t.Update) * float64(time.Second)); update > 0 {
		sample = int64(at / update)
		at = time.Duration(sample) * update
	}
	x := p.distort(k.pressure(id, at), high-low, float64(t.Noise), k.set.Seed, id, sample, at)
	return quantise((x-low)/(high-low), t.Bits)
}

// quantise is the share x of a span as a 12-bit count, from a converter that
// may have fewer bits.
func quantise(x float64, bits int) uint16 {
	if bits <= 0 || bits > 12 {
		bits = 12
	}
	top := float64(int(1)<<bits - 1)
	return uint16(math.Round(math.Round(math.Max(0, math.Min(1, x))*top) / top * counts))
}

// pressure is the undistorted pressure at an instant no older than the ring of
// ticks, in Pa.
func (k *Skid) pressure(id signal, at time.Duration) float64 {
	m, _ := k.moment(at)
	if id == suctionPressure {
		return m.suction + k.swing(id, at)
	}
	p := m.discharge + k.swing(id, at)
	for _, other := range k.header {
		if other != k {
			p += other.swing(id, at) - other.lifted()
		}
	}
	return p
}

// lifted is the mean of the swing: in the Full detail, the friction of the
// line, which the others of a header have in their own.
func (k *Skid) lifted() float64 {
	if k.full == nil {
		return 0
	}
	return k.full.mean * k.flow.primed
}

// moment finds the tick of an instant.
func (k *Skid) moment(at time.Duration) (*moment, int64) {
	n := max(min(int64(at/tick), k.ticks), k.ticks-int64(len(k.recent))+1, 0)
	return &k.recent[n%int64(len(k.recent))], n
}

// swing is the pressure about the mean or, in the Full detail, above the
// vessel's.
func (k *Skid) swing(id signal, at time.Duration) float64 {
	m, n := k.moment(at)
	since := (at - time.Duration(n)*tick).Seconds()
	shaft := m.shaft + m.speed*since
	if k.full == nil {
		relative := m.speed * 60 / float64(k.set.Machine.RatedSpeed)
		swing := k.ripple.at(shaft) * relative * relative * k.flow.primed
		if id == suctionPressure {
			return -0.05 * swing
		}
		return swing
	}
	if k.reversed {
		shaft = -shaft
	}
	shaft = k.faults.wobble().angle(2*math.Pi*shaft) / (2 * math.Pi)
	g := &k.glances[n%int64(len(k.glances))]
	noise := g.cavity
	if id == suctionPressure {
		noise /= 4
	}
	if noise > 0 {
		noise *= gauss(k.set.Seed, streamCavity, int64(at))
	}
	return k.flow.primed * (g.pressure(id, shaft, since/tickSeconds) + noise)
}
