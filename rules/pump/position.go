package pump

import "fmt"

// A Side is one of the two sides of a cylinder. The zero Side is not known.
type Side uint8

// The two sides.
const (
	Suction Side = iota + 1
	Discharge
)

var sides = names[Side]{"", "suction", "discharge"}

// String gives "suction", "discharge" or "".
func (s Side) String() string { return sides.text(s) }

// Other is the opposite side; of the zero Side it is the zero Side.
func (s Side) Other() Side {
	if s == 0 {
		return 0
	}
	return Suction + Discharge - s
}

// MarshalText implements [encoding.TextMarshaler].
func (s Side) MarshalText() ([]byte, error) { return []byte(s.String()), nil }

// UnmarshalText implements [encoding.TextUnmarshaler]; the empty text is the
// zero Side.
func (s *Side) UnmarshalText(text []byte) (err error) {
	*s = 0
	if len(text) > 0 {
		*s, err = sides.parse("side", string(text))
	}
	return err
}

// A Position is a place in the pump: a check valve, or the half of a stroke
// (see [Position.LeaksIn]). Zero fields are not known.
type Position struct {
	Cylinder int  `json:"cylinder,omitempty"` // from 1; 0 is not known
	Side     Side `json:"side,omitempty"`
}

// String gives "cylinder 2 suction", and leaves out what is not known.
func (p Position) String() string {
	switch {
	case p.Cylinder == 0 && p.Side == 0:
		return "position not known"
	case p.Cylinder == 0:
		return p.Side.String()
	case p.Side == 0:
		return fmt.Sprintf("cylinder %d", p.Cylinder)
	default:
		return fmt.Sprintf("cylinder %d %v", p.Cylinder, p.Side)
	}
}

// LeaksIn turns the position of a valve into the half-stroke in which that
// valve, if it leaks, loses flow: a suction valve leaks while its cylinder
// discharges, a discharge valve while its cylinder sucks. It is its own
// inverse.
func (p Position) LeaksIn() Position { return Position{p.Cylinder, p.Side.Other()} }

// Valves lists the positions of all check valves, cylinder by cylinder,
// suction first.
func (g Geometry) Valves() []Position {
	list := make([]Position, 0, 2*g.Cylinders)
	for c := 1; c <= g.Cylinders; c++ {
		list = append(list, Position{c, Suction}, Position{c, Discharge})
	}
	return list
}
