package diagnosis

import (
	"math/cmplx"

	"pumpside/drivers/quantity"
)

// mostOrder is the highest order that is evidence.
const mostOrder = 6

// An OrderChange is how far one order of the discharge pressure has moved from
// its baseline, in Pa, at angles from cylinder 1's start of discharge where
// there is an index.
type OrderChange struct {
	Seen     bool
	Baseline complex128
	Delta    complex128
	Sigma    float64 // standard error of each part of Delta
}

// growth is ln of the amplitude now by the baseline's.
func (o OrderChange) growth() (x, sigma float64, ok bool) {
	before, now := cmplx.Abs(o.Baseline), cmplx.Abs(o.Baseline+o.Delta)
	if !o.Seen || before < 3*o.Sigma || before == 0 {
		return 0, 0, false
	}
	if now < before/1000 {
		now = before / 1000
	}
	return ln(now / before), o.Sigma / before, true
}

// A NumberChange is how far a plain number has moved from its baseline.
type NumberChange struct {
	Seen     bool
	Baseline float64
	Delta    float64
	Sigma    float64 // standard error of Delta
}

// part is the change as a share of the baseline.
func (n NumberChange) part() NumberChange {
	if n.Baseline == 0 {
		return NumberChange{}
	}
	return NumberChange{n.Seen, 1, n.Delta / n.Baseline, abs(n.Sigma / n.Baseline)}
}

// A Switch is what a contact says.
type Switch uint8

// The three answers of a contact.
const (
	NotInstalled Switch = iota
	Off
	On
)

// Evidence is all that is known of a pump at one operating point.
type Evidence struct {
	Speed      quantity.RevolutionsPerMinute // of the pump's shaft
	Pressure   quantity.Pascals              // differential, mean
	Orders     [mostOrder + 1]OrderChange
	Efficiency NumberChange // volumetric
	Torque     NumberChange // by differential pressure
	Suction    NumberChange // pressure, Pa
	Bypass     Switch       // On: the bypass valve is open
	Rate       float64      // new values of the pressure in a second; 0 for enough

	// Indexed is whether the angles of the orders are tied to an index.
	Indexed bool
	// FromService is whether hands were at the pump within a day.
	FromService bool
}
