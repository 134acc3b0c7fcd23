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
	const model = 0.12 // what the flow of a real pump differs from the model's
	err = math.Hypot(math.Hypot(spread, shared/weights), model)
	return z, err, err < 0.5
}

// The grid of lines: resonances in Hz and dampings.
const (
	lowestResonance, resonances = 0.7, 48
	leastDamping, dampings      = 0.03, 10
)

// smooth is the weighed mean of all lines that fit, at a frequency, and its
// relative spread per part.
func (l *Line) smooth(hertz, turns float64, path orders.Path) (z complex128, spread float64) {
	type fit struct {
		z    complex128
		cost float64
	}
	var fits [resonances * dampings]fit
	var behind [mostPoints]complex128
	for i, p := range l.Points {
		behind[i] = path.Response(p.Hertz)
	}
	least := math.Inf(1)
	for i := range resonances {
		f0 := lowestResonance * math.Pow(100, float64(i)/(resonances-1))
		for j := range dampings {
			damping := leastDamping * math.Pow(60, float64(j)/(dampings-1))
			scale, cost := l.fit(hertz, turns, f0, damping, &behind)
			one := complex(scale, 0) * lumped(hertz, f0, damping) * path.Response(hertz)
			fits[i*dampings+j] = fit{one, cost}
			least = min(least, cost)
		}
	}
	total, square := 0.0, 0.0
	for _, f := range fits {
		w := math.Exp((least - f.cost) / 2)
		total += w
		z += complex(w, 0) * f.z
		square += w * (real(f.z)*real(f.z) + imag(f.z)*imag(f.z))
	}
	z /= complex(total, 0)
	size := real(z)*real(z) + imag(z)*imag(z)
	return z, math.Sqrt(max(square/total/size-1, 0) / 2)
}

// fit is the best size of a line of that resonance and damping, with what it
// costs: squares of the misses in standard errors.
func (l *Line) fit(hertz, turns, f0, damping float64, behind *[mostPoints]complex128) (scale, cost float64) {
	var g [mostPoints]complex128
	var v [mostPoints]float64
	up, down := 0.0, 0.0
	for i, p := range l.Points {
		g[i] = swept(p.Hertz, p.Sweep, f0, damping*math.Sqrt(p.Turns/turns)) * behind[i]
		off := 0.6 * ln(p.Hertz/hertz)
		size := math.Hypot(p.Re, p.Im)
		v[i] = (p.Error*p.Error + off*off + 0.1*0.1) * size * size
		up += (p.Re*real(g[i]) + p.Im*imag(g[i])) / v[i]
		down += (real(g[i])*real(g[i]) + imag(g[i])*imag(g[i])) / v[i]
	}
	scale = max(up/down, 0)
	for i, p := range l.Points {
		re, im := p.Re-scale*real(g[i]), p.Im-scale*imag(g[i])
		cost += (re*re + im*im) / v[i]
	}
	return scale, cost
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
