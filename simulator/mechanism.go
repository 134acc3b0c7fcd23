package simulator

import "math"

// A Motion says how the shaft moves the plungers.
type Motion uint8

// The motions a diaphragm pump is built with.
const (
	DischargeAway    Motion = iota // slider-crank, liquid leaves on the stroke away from the crank: the usual plunger pump
	DischargeTowards               // slider-crank, liquid leaves on the stroke towards the crank
	Sine                           // wobble plate, swash plate or sine cam: an infinitely long rod
)

// A Mechanism turns a shaft angle into the place of a plunger.
//
// The angle of a cylinder is 0 where its discharge stroke starts and π where
// it ends. RodRatio is the rod's length over the crank's radius, more than 1;
// Sine does not use it.
type Mechanism struct {
	Motion   Motion
	RodRatio float64
}

// Position is the part of the stroke a plunger has displaced at the angle a:
// 0 at the start of discharge, 1 at its end.
//
// With the pin at r·cos a from the crank's centre line and a rod of length L
// the crosshead stands √(L² − r²·sin²a) further out, so that
// x/r = 1 − cos a ∓ (1 − √(1 − λ²·sin²a))/λ with λ = r/L: minus when discharge
// is the stroke away from the crank, plus when towards it.
func (m Mechanism) Position(a float64) float64 {
	sin, cos := math.Sincos(a)
	return (1 - cos + m.obliquity()*m.rise(sin)) / 2
}

// Velocity is the derivative of Position by the angle, per radian: 1/2 at the
// middle of a sine stroke, negative while the chamber fills.
func (m Mechanism) Velocity(a float64) float64 {
	sin, cos := math.Sincos(a)
	if m.Motion == Sine {
		return sin / 2
	}
	l := 1 / m.RodRatio
	return sin * (1 + m.obliquity()*l*cos/math.Sqrt(1-l*l*sin*sin)) / 2
}

// obliquity is the sign with which the rod's slant enters.
func (m Mechanism) obliquity() float64 {
	if m.Motion == DischargeAway {
		return -1
	}
	return 1
}

// rise is how far the slant of the rod draws the crosshead back, over r.
func (m Mechanism) rise(sin float64) float64 {
	if m.Motion == Sine {
		return 0
	}
	l := 1 / m.RodRatio
	return (1 - math.Sqrt(1-l*l*sin*sin)) / l
}
