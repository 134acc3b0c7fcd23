package diagnosis

import (
	"math"
	"math/cmplx"

	"pumpside/rules/orders"
)

// A Line is the impedance between delivered flow and the number read from the
// transmitter, where it was measured. The zero Line is not known anywhere.
type Line struct {
	Points []LinePoint `json:"points,omitempty"`
}

// A LinePoint is the impedance at one frequency.
type LinePoint struct {
	Hertz float64 `json:"hertz"`
	Re    float64 `json:"re"`    // Pa by m³/s
	Im    float64 `json:"im"`    //
	Error float64 `json:"error"` // standard error of either part, by the magnitude
	// Shared is the part of the error that points have in common, since the
	// flow behind them is known only so well.
	Shared float64 `json:"shared"`
	Turns  float64 `json:"turns"` // of the shaft in a second, at which it was measured
	// Sweep is how fast the frequency rose meanwhile, in Hz a second.
	Sweep float64 `json:"sweep,omitempty"`
	// Record is the number of the service record that gave the point, 0 for
	// one that a ramp gave.
	Record int `json:"record,omitempty"`
}

// order is which one of the shaft's showed the point.
func (p *LinePoint) order() int {
	return min(int(math.Round(p.Hertz/p.Turns)), mostOrder)
}

func (p *LinePoint) size() float64 { return math.Hypot(p.Re, p.Im) }

func square(x float64) float64 { return x * x }

// At is the impedance at a frequency, at a speed of the shaft in turns per
// second and behind a path, with its relative error; ok is false where nothing
// was measured near it, or too little to tell a phase.
//
// Single points are weak: the ripple of a ramp is small where it passes the
// frequency of a shaft at speed. So they are smoothed by what a line can be,
// an inertance with friction beside the give of manifold and dampener,
//
//	Z = (R + iωL) / (1 + iωC·(R + iωL)),
//
// with all resonances and dampings weighed by how well they fit. What lies far
// from the frequency counts less, for a real line has more than one resonance.
// Friction of turbulent flow goes with the flow, that of laminar flow does not,
// so a line is damped less in a ramp than at speed: by the root, between both.
// A resonance takes its time, and what a ramp shows of it is late: see swept.
//
// Angles are by the index, whose own is stated to some degrees only. Order k is
// turned by k times what it is off by, which no line does: so the orders tell
// of that too, and the impedance is given as the index sees it.
func (l *Line) At(hertz, turns float64, path orders.Path) (z complex128, err float64, ok bool) {
	near := 0.0
	shared, weights := 0.0, 0.0
	for _, p := range l.Points {
		if off := abs(ln(p.Hertz / hertz)); off < 0.25 {
			w := 1 / (p.Error * p.Error)
			near += w
			shared += w * p.Shared
			weights += w
		}
	}
	const enough = 1.5 // points of error 1
	if near < enough {
		return 0, 0, false
	}
	z, spread := l.smooth(hertz, turns, path)
	const model = 0.18 // what a real line and the flow of a real pump differ from these
	err = math.Hypot(math.Hypot(spread, shared/weights), model)
	return z, err, err < 0.5
}

// The grid of lines: resonances in Hz and dampings.
const (
	lowestResonance, resonances = 0.7, 48
	leastDamping, dampings      = 0.03, 10
)

// By how much the stated angle of the index is off: the grid, and the standard
// deviation before anything is measured (common practice, no source).
const (
	anglesOff = 21
	stepOff   = 4 * math.Pi / 180
	usualOff  = 8 * math.Pi / 180
)

// smooth is the weighed mean of all lines that fit, at a frequency, and its
// relative spread per part.
func (l *Line) smooth(hertz, turns float64, path orders.Path) (z complex128, spread float64) {
	var behind [mostPoints]complex128
	for i, p := range l.Points {
		behind[i] = path.Response(p.Hertz)
	}
	var turn [anglesOff][mostOrder + 1]complex128
	var seen [anglesOff]complex128 // what the frequency asked for is turned by
	for a := range turn {
		off := stepOff * float64(a-anglesOff/2)
		for k := range turn[a] {
			turn[a][k] = cmplx.Rect(1, float64(k)*off)
		}
		seen[a] = cmplx.Rect(1, hertz/turns*off)
	}
	least := math.Inf(1)
	total, power := 0.0, 0.0
	for i := range resonances {
		f0 := lowestResonance * math.Pow(100, float64(i)/(resonances-1))
		for j := range dampings {
			damping := leastDamping * math.Pow(60, float64(j)/(dampings-1))
			alike, down, all := l.fit(hertz, turns, f0, damping, &behind)
			one := lumped(hertz, f0, damping) * path.Response(hertz)
			for a := range turn {
				up := 0.0
				for k, c := range alike {
					up += real(c)*real(turn[a][k]) + imag(c)*imag(turn[a][k])
				}
				up = max(up, 0)
				cost := all - up*up/down + square(stepOff*float64(a-anglesOff/2)/usualOff)
				if cost < least { // weights go by the best so far
					w := math.Exp((cost - least) / 2)
					total, z, power, least = total*w, z*complex(w, 0), power*w, cost
				}
				w := math.Exp((least - cost) / 2)
				fit := complex(up/down, 0) * one * seen[a]
				total += w
				z += complex(w, 0) * fit
				power += w * (real(fit)*real(fit) + imag(fit)*imag(fit))
			}
		}
	}
	z /= complex(total, 0)
	size := real(z)*real(z) + imag(z)*imag(z)
	return z, math.Sqrt(max(power/total/size-1, 0) / 2)
}

// fit holds a line of that resonance and damping, of size 1, against the
// points: for each order how they are alike, and the squares of the line and of
// the points, all by the points' variances. A line of size s, its orders turned
// by t, misses by all − 2s·Σ Re(alike·t*) + s²·down.
func (l *Line) fit(hertz, turns, f0, damping float64, behind *[mostPoints]complex128) (alike [mostOrder + 1]complex128, down, all float64) {
	for i := range l.Points {
		p := &l.Points[i]
		g := swept(p.Hertz, p.Sweep, f0, damping*math.Sqrt(p.Turns/turns)) * behind[i]
		off := 0.6 * ln(p.Hertz/hertz)
		size := p.Re*p.Re + p.Im*p.Im
		v := (p.Error*p.Error + off*off + 0.1*0.1) * size
		alike[p.order()] += complex(p.Re, p.Im) * complex(real(g)/v, -imag(g)/v)
		down += (real(g)*real(g) + imag(g)*imag(g)) / v
		all += size / v
	}
	return alike, down, all
}

// lumped is the impedance of a line of inertance 1 s/(2π).
func lumped(f, f0, damping float64) complex128 {
	return complex(2*damping*f0, f) / complex(1-f/f0*f/f0, 2*damping*f/f0)
}

// swept is lumped as it shows while the frequency rises by that many Hz a
// second: the answer h to a stroke, that old, meets a wave that has changed by
// then,
//
//	∫ h(τ)·exp(−iωτ + iaτ²/2) dτ = Z − (ia/2)·Z″ + …, a in rad/s²,
//
// with the derivatives by ω. Where a resonance is too sharp for the sweep the
// second term means nothing, and is kept below half of the first.
func swept(f, sweep, f0, damping float64) complex128 {
	z := lumped(f, f0, damping)
	if sweep == 0 {
		return z
	}
	const step = 0.02
	bend := (lumped(f*(1+step), f0, damping) - 2*z + lumped(f*(1-step), f0, damping)) / complex(f*f*step*step, 0)
	late := complex(0, -sweep/(4*math.Pi)) * bend // a/2 by (2π)²: Z″ is by ω
	if most := 0.5 * cmplx.Abs(z) / cmplx.Abs(late); most < 1 {
		late *= complex(most, 0)
	}
	return z + late
}
