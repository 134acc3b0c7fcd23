package pump

import (
	"math"

	"pumpside/drivers/quantity"
)

// A Kind is how shaft rotation becomes plunger motion. The zero Kind is
// unknown and never valid: there is no safe default, see [Mechanism].
type Kind uint8

// The two kinds of mechanism.
const (
	Crank Kind = iota + 1 // crank and connecting rod
	Sine                  // wobble plate, swash plate or a cam of sine form
)

// A Direction is which way a crank-driven plunger moves while it discharges.
// The zero Direction is unknown.
type Direction uint8

// The two directions.
const (
	Away    Direction = iota + 1 // the discharge stroke moves away from the crank: the usual plunger pump
	Towards                      // the discharge stroke moves towards the crank
)

var (
	kinds      = names[Kind]{"", "crank", "sine"}
	directions = names[Direction]{"", "away", "towards"}
)

// String gives the configuration's word: "crank", "sine" or "".
func (k Kind) String() string { return kinds.text(k) }

// String gives the configuration's word: "away", "towards" or "".
func (d Direction) String() string { return directions.text(d) }

// MarshalText implements [encoding.TextMarshaler].
func (k Kind) MarshalText() ([]byte, error) { return []byte(k.String()), nil }

// MarshalText implements [encoding.TextMarshaler].
func (d Direction) MarshalText() ([]byte, error) { return []byte(d.String()), nil }

// UnmarshalText implements [encoding.TextUnmarshaler]. The error lists the
// words that would be right.
func (k *Kind) UnmarshalText(text []byte) (err error) {
	*k, err = kinds.parse("mechanism", string(text))
	return err
}

// UnmarshalText implements [encoding.TextUnmarshaler].
func (d *Direction) UnmarshalText(text []byte) (err error) {
	*d, err = directions.parse("discharge direction", string(text))
	return err
}

// A Mechanism moves the plungers. The zero Mechanism is invalid on purpose:
// with the wrong direction the third order of the flow turns by 180° and a
// diagnosis names the wrong valve with confidence, so someone has to say it.
type Mechanism struct {
	Kind Kind
	// RodRatio is rod length by crank radius, L/r, about 4 to 6; for a crank
	// only, 0 for Sine.
	RodRatio quantity.Ratio
	// Discharge is the direction of the discharge stroke; for a crank only,
	// 0 for Sine.
	Discharge Direction
}

// Position is the share of the stroke a plunger has displaced at angle a
// (radians) after the start of its own discharge: 0 at a = 0, 1 at a = π.
// With λ = r/L and the slider-crank relation,
//
//	away:    x/r = (1 − cos a) − (1 − √(1 − λ² sin² a))/λ
//	towards: x/r = (1 − cos a) + (1 − √(1 − λ² sin² a))/λ
//
// and the share is x/2r. Sine is λ = 0.
func (m Mechanism) Position(a float64) quantity.Ratio {
	x := 1 - math.Cos(a)
	if l := m.lambda(); l != 0 {
		s := l * math.Sin(a)
		x += (1 - math.Sqrt(1-s*s)) / l
	}
	return quantity.Ratio(x / 2)
}

// Angle is the angle at which a plunger has displaced a share of its stroke, the
// inverse of Position from 0 to π. With y = 2·share − 1, squaring the relation
// there leaves cos a = (λ(1 + y²) − 2y)/(2(1 − λy)), λ with the sign of Position.
func (m Mechanism) Angle(share quantity.Ratio) float64 {
	l, y := m.lambda(), 2*float64(share)-1
	return math.Acos(max(-1, min(1, (l*(1+y*y)-2*y)/(2*(1-l*y)))))
}

// Velocity is the plunger's velocity at angle a by crank radius times angular
// speed, v/(rω); positive while it discharges:
//
//	v/(rω) = sin a · (1 ∓ λ cos a / √(1 − λ² sin² a)),
//
// minus for away, plus for towards.
func (m Mechanism) Velocity(a float64) float64 {
	sin, cos := math.Sincos(a)
	l := m.lambda()
	return sin * (1 + l*cos/math.Sqrt(1-l*l*sin*sin))
}

// Acceleration is the slope of Velocity against a: the plunger's acceleration
// by crank radius times angular speed squared,
//
//	cos a ∓ λ cos 2a/R ∓ λ³ sin² a cos² a/R³ with R = √(1 − λ² sin² a).
func (m Mechanism) Acceleration(a float64) float64 {
	sin, cos := math.Sincos(a)
	l := m.lambda()
	r := math.Sqrt(1 - l*l*sin*sin)
	return cos + l*(cos*cos-sin*sin)/r + l*l*l*sin*sin*cos*cos/(r*r*r)
}

// lambda is r/L with the sign of the rod's part in Position: negative for
// away, positive for towards, 0 for sine.
func (m Mechanism) lambda() float64 {
	switch {
	case m.Kind != Crank:
		return 0
	case m.Discharge == Towards:
		return 1 / float64(m.RodRatio)
	default:
		return -1 / float64(m.RodRatio)
	}
}

func (m Mechanism) problems() (list Problems) {
	switch m.Kind {
	case Crank:
		if !between(m.RodRatio, 2, 20) {
			list.add("mechanism.rod_ratio", "%v is not a rod ratio; rod length by crank radius lies between 2 and 20, mostly 4 to 6", m.RodRatio)
		}
		if m.Discharge != Away && m.Discharge != Towards {
			list.add("mechanism.discharge", "not stated; say whether the discharge stroke moves away from the crank (away) or towards it (towards)")
		}
	case Sine:
		if m.RodRatio != 0 || m.Discharge != 0 {
			list.add("mechanism.kind", "a sine mechanism has no rod; leave out rod_ratio and discharge, or say crank")
		}
	default:
		list.add("mechanism.kind", "not stated; say crank (with rod_ratio and discharge) or sine (wobble or swash plate)")
	}
	return list
}
