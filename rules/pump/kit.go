package pump

import (
	"slices"
	"strings"

	"pumpside/drivers/quantity"
)

// A Component is a part of the pump that wears or is renewed, in the trade's
// words.
type Component string

// The components of a hydraulic-diaphragm pump and of what belongs to it.
const (
	SuctionValve       Component = "suction_valve"
	DischargeValve     Component = "discharge_valve"
	SeatSeal           Component = "seat_seal" // O-ring under a valve seat
	Diaphragm          Component = "diaphragm"
	PlungerSeal        Component = "plunger_seal" // or ring and bore
	ShaftSeal          Component = "shaft_seal"
	ManifoldSeal       Component = "manifold_seal"
	OilReliefValve     Component = "oil_relief_valve" // of one oil cell
	MakeUpValve        Component = "make_up_valve"    // replenishing valve of one oil cell
	HydraulicOil       Component = "hydraulic_oil"    // behind the diaphragms
	GearOil            Component = "gear_oil"         // where the sump is separate
	Dampener           Component = "dampener"         // charge or bladder
	Strainer           Component = "strainer"         // suction
	DischargeFilter    Component = "discharge_filter"
	Transmission       Component = "transmission"     // belt, coupling or gear
	PressureReliefLine Component = "relief_or_bypass" // of the discharge line
	Instrument         Component = "instrument"       // transmitter or meter
	BearingsAndCrank   Component = "bearings_or_crank"
)

// Components lists every Component.
func Components() []Component {
	return []Component{
		SuctionValve, DischargeValve, SeatSeal, Diaphragm, PlungerSeal, ShaftSeal,
		ManifoldSeal, OilReliefValve, MakeUpValve, HydraulicOil, GearOil, Dampener,
		Strainer, DischargeFilter, Transmission, PressureReliefLine, Instrument,
		BearingsAndCrank,
	}
}

// A Kit is what a technician brings to renew some components.
type Kit struct {
	Name   string      // in words, such as "check valve kit"
	Number string      // order number, "" when not known
	Renews []Component // what it is for
	// PerCylinder is whether one kit serves one cylinder; else it serves the
	// pump.
	PerCylinder bool
	Contents    []Item
}

// An Item is one line of a kit: what to put in the box.
type Item struct {
	Name     string
	Number   string  // order number, "" when not known
	Quantity float64 // pieces, or Unit if there is one
	Unit     string  // such as "L" for oil, "" for pieces
}

// Validate says what is wrong with the kit, as [Problems].
func (k Kit) Validate() error {
	var list Problems
	if strings.TrimSpace(k.Name) == "" {
		list.add("name", "missing; say what the kit is called, such as \"check valve kit\"")
	}
	if len(k.Renews) == 0 {
		list.add("renews", "missing; list what the kit renews, such as suction_valve")
	}
	for _, c := range k.Renews {
		if !slices.Contains(Components(), c) {
			list.add("renews", "%q is no component; use one of %s", c, join(Components()))
		}
	}
	for _, it := range k.Contents {
		if !(it.Quantity > 0) {
			list.add("contents", "%q has quantity %v; use a number above 0", it.Name, it.Quantity)
		}
	}
	return list.err()
}

func join(list []Component) string {
	words := make([]string, len(list))
	for i, c := range list {
		words[i] = string(c)
	}
	return strings.Join(words, ", ")
}

// KitsFor lists the kits that renew a component, in the order given.
func KitsFor(kits []Kit, c Component) []Kit {
	var list []Kit
	for _, k := range kits {
		if slices.Contains(k.Renews, c) {
			list = append(list, k)
		}
	}
	return list
}

// A Finding is a component believed to need attention, as the visit plan
// wants to know it.
type Finding struct {
	Component   Component      `json:"component"`
	Position    Position       `json:"position"`    // as far as it is known
	Probability quantity.Ratio `json:"probability"` // 0 to 1
	Visit       bool           `json:"visit"`       // it has lasted long enough to advise a visit
}
