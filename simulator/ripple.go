package simulator

import "math"

// A ripple is the pressure about its mean, by shaft angle, as a transmitter
// with its damping shows it.
type ripple struct {
	table [rippleSize]float32 // discharge, Pa at rated speed
}

const (
	rippleSize = 256
	topOrder   = 12
)

// make computes the table of the Mean detail. The line is an inertance ρL/A
// beside the compliance of its own liquid, which takes nothing at these
// frequencies; its end stays at the contactor's pressure, so the pressure is
// the inertance times the flow's derivative and goes with speed squared.
func (r *ripple) make(k *Skid) {
	m := &k.set.Machine
	ideal := k.idealHeads()
	var flow [rippleSize]float64
	for i := range flow {
		flow[i] = idealFlow(m.Mechanism, &ideal, 2*math.Pi*float64(i)/rippleSize)
	}
	omega := 2 * math.Pi * float64(m.RatedSpeed) / 60
	area := math.Pi / 4 * float64(m.Discharge.Bore) * float64(m.Discharge.Bore)
	inertance := 1080 * float64(m.Discharge.Length) / area
	rated := float64(m.Displacement(m.RatedSpeed))
	lag := float64(k.set.Discharge.Damping)
	clear(r.table[:])
	for order, c := range orders(flow[:], topOrder) {
		w := float64(order) * omega
		c *= complex(0, w*inertance*rated) / complex(1, w*lag) / complex(1, w*float64(k.set.Discharge.Snubber))
		for i := range r.table {
			sin, cos := math.Sincos(2 * math.Pi * float64(order*i%rippleSize) / rippleSize)
			r.table[i] += float32(real(c)*cos - imag(c)*sin)
		}
	}
}

// at is the ripple at the angle of turns, at rated speed.
func (r *ripple) at(turns float64) float64 {
	x := (turns - math.Floor(turns)) * rippleSize
	i := int(x)
	f := float32(x) - float32(i)
	return float64(r.table[i%rippleSize]*(1-f) + r.table[(i+1)%rippleSize]*f)
}
