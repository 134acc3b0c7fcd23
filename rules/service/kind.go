package service

import (
	"slices"

	"pumpside/rules/pump"
)

// A Kind is one of the tasks every such pump has; "" is one of the site's own.
type Kind string

// The kinds.
const (
	Oil             Kind = "oil" // one task per sump
	Valves          Kind = "valves"
	Diaphragms      Kind = "diaphragms"
	ShaftSeal       Kind = "shaft_seal"
	PlungerSeals    Kind = "plunger_seals"
	Rings           Kind = "o_rings"
	Strainer        Kind = "strainer"
	Filter          Kind = "filter"
	DampenerCharge  Kind = "dampener_charge"
	ReliefTest      Kind = "relief_test"
	GlycolSample    Kind = "glycol_sample"
	StandbyExercise Kind = "standby_exercise"
)

// A kindInfo is what is known of a kind before any setting.
type kindInfo struct {
	kind       Kind
	title      string
	components []pump.Component // what it renews; the first names the failure mode
	renews     []string         // the actions after which its life begins again
	reaches    []Kind           // what lies open once this is done
	opens      bool             // the pump is opened or touched while it is isolated: the safety text stands before it
	repair     bool             // can change what the hydraulic end delivers: whether it held is judged
	minutes    float64          // of work, when the site says nothing (common practice, no source)
	steps      []string         // in general words; the maker's manual governs
}

var (
	renewed = []string{Performed, Replaced}
	cleaned = []string{Performed, Replaced, Cleaned}
	tested  = []string{Performed, Tested, Adjusted, Replaced}
)

var kinds = []kindInfo{
	{Oil, "oil", []pump.Component{pump.HydraulicOil, pump.GearOil}, renewed, nil, true, false, 60, []string{
		"Drain the oil warm, not hot; look at it for metal, milk and colour, and keep a sample.",
		"Clean the drain magnet and the strainer in the sump, if there is one.",
		"Fill with the grade in the settings; prime the oil cells unloaded, by the manual.",
	}},
	{Valves, "check valves", []pump.Component{pump.SuctionValve, pump.DischargeValve, pump.SeatSeal}, append(slices.Clone(renewed), Reseated), nil, true, true, 120, []string{
		"Open the valve ports, one cylinder at a time; mark which valve came from where.",
		"Look at each seat, ball or disc, spring and O-ring, and write down what you find.",
		"Fit the new ones the right way up, with new O-rings; torque by the manual.",
	}},
	{Diaphragms, "diaphragms", []pump.Component{pump.Diaphragm, pump.ManifoldSeal}, renewed, []Kind{Valves, Rings}, true, true, 180, []string{
		"Open the manifold and the heads; the check valves are reachable now.",
		"Look at each diaphragm for cracks and at the oil side for glycol, and write down what you find.",
		"Fit new diaphragms and manifold O-rings; torque and sequence by the manual.",
		"Fill and prime the oil cells unloaded, by the manual.",
	}},
	{ShaftSeal, "shaft oil seal", []pump.Component{pump.ShaftSeal}, renewed, nil, true, false, 120, []string{
		"Uncouple; look at the shaft where the seal runs.", "Fit the new seal the right way round, by the manual.",
	}},
	{PlungerSeals, "plunger seals", []pump.Component{pump.PlungerSeal}, renewed, []Kind{Diaphragms, Valves, Oil}, true, true, 240, []string{
		"Drain the oil and open the hydraulic end, by the manual.", "Look at plungers and bores, and write down what you find.",
		"Fit new seals; close, fill and prime by the manual. New oil runs in again.",
	}},
	{Rings, "O-rings", []pump.Component{pump.ManifoldSeal, pump.SeatSeal}, renewed, []Kind{Valves}, true, true, 60, []string{
		"Open the manifold; the check valves are reachable now.", "Fit new O-rings of the material in the settings.",
	}},
	{Strainer, "suction strainer", []pump.Component{pump.Strainer}, cleaned, nil, true, false, 30, []string{
		"Take the basket out, write down what is in it, clean it or fit a new one.",
	}},
	{Filter, "glycol filter", []pump.Component{pump.DischargeFilter}, cleaned, nil, true, false, 30, []string{
		"Change the elements; write down the differential pressure before and after.",
	}},
	{DampenerCharge, "dampener charge", []pump.Component{pump.Dampener}, append(slices.Clone(tested), ToppedUp), nil, true, false, 30, []string{
		"With zero pressure on the liquid side, read the gas pressure; use dry nitrogen only, to the value in the settings.",
	}},
	{ReliefTest, "relief valve test", []pump.Component{pump.PressureReliefLine}, tested, nil, true, false, 60, []string{
		"Test by the site's procedure; write down the pressure at which it opened.",
	}},
	{GlycolSample, "glycol sample", nil, tested, nil, false, false, 20, []string{
		"By site procedure for sampling a running, hot, pressurised circuit, at its sample cooler or point, with face and hand protection: " +
			"take the sample before the filter, before the pump is stopped for other work.",
	}},
	{StandbyExercise, "standby exercise", nil, []string{Performed, Tested}, nil, false, false, 30, []string{
		"With everyone clear of it and suction and discharge open, run the standby pump loaded for half an hour by site procedure, until it is warm; write down flow, pressure and noise.",
	}},
}

// Kinds lists the words for every kind.
func Kinds() []string {
	words := make([]string, len(kinds))
	for i, k := range kinds {
		words[i] = string(k.kind)
	}
	return words
}

// own is what is taken for a task of the site's own.
var own = kindInfo{title: "", renews: []string{Performed, Replaced, Cleaned, Reseated, Adjusted, Tested, ToppedUp}, opens: true, minutes: 30}

func (k Kind) info() *kindInfo {
	for i := range kinds {
		if kinds[i].kind == k {
			return &kinds[i]
		}
	}
	return &own
}

// rank is the place of k in the order of work.
func (k Kind) rank() int {
	if i := slices.IndexFunc(kinds, func(o kindInfo) bool { return o.kind == k }); i >= 0 {
		return i
	}
	return len(kinds)
}

// Title is what people call tasks of that kind.
func (k Kind) Title() string { return k.info().title }

// Components lists what tasks of that kind renew.
func (k Kind) Components() []pump.Component { return k.info().components }

// Renews reports whether a task of that kind begins again after that action.
func (k Kind) Renews(action string) bool { return slices.Contains(k.info().renews, action) }

// Reaches lists the kinds of work that lie open once that kind is done.
func (k Kind) Reaches() []Kind { return k.info().reaches }

// Opens reports whether work of that kind opens or touches equipment.
func (k Kind) Opens() bool { return k.info().opens }

// Steps are the steps in general words; the maker's manual governs.
func (k Kind) Steps() []string { return k.info().steps }

// Minutes is how long the work takes when the site says nothing.
func (k Kind) Minutes() float64 { return k.info().minutes }

// Disturbs reports whether a pump may behave otherwise after such work; for
// the site's own tasks nobody knows.
func (k Kind) Disturbs() bool {
	return k.info().repair || k == Oil || k == DampenerCharge || k.info() == &own
}

// MayChangeDelivery reports whether work of that kind can change what the pump
// delivers, so that it is worth judging whether the repair held.
func (k Kind) MayChangeDelivery() bool { return k.info().repair }
