package service

import "pumpside/rules/pump"

// ISO 14224:2016 has codes for how a part failed (the failure mode) and for
// what went on in it (the failure mechanism, Table B.2). People say plain
// words; these rows turn them into codes. Mechanisms 5.x and 6.x: values from
// memory.
var isoRows = []struct {
	found     Found
	mode      string // of most parts
	mechanism string
	failed    bool // the part had failed, so that its age is the age of a failure
}{
	{Good, "", "", false},
	{Worn, "PDE", "2.4", true},
	{Leaking, "INL", "2.4", true},
	{LeakingOutside, "ELP", "1.1", true},
	{Sticking, "INL", "1.6", true},
	{Broken, "BRD", "2.5", true},
	{Cracked, "STD", "2.6", true},
	{Burst, "STD", "2.8", true},
	{Corroded, "STD", "2.2", true},
	{Eroded, "STD", "2.3", true},
	{Loose, "VIB", "1.5", true},
	{Plugged, "PLU", "5.1", true},
	{Milky, "PDE", "5.2", true},
	{Dark, "PDE", "2.7", false},
	{Metal, "PDE", "2.4", true},
	{Low, "PDE", "1.1", true},
	{OutOfAdjustment, "PDE", "1.3", true},
	{Overheated, "OHE", "2.7", true},
}

// isoModes are the modes that differ from part to part: what is inside leaks
// internally (INL), what keeps the oil in leaks a utility medium (ELU), what
// keeps the glycol in leaks process medium (ELP).
var isoModes = map[pump.Component]map[Found]string{
	pump.SuctionValve:   valveModes,
	pump.DischargeValve: valveModes,
	pump.SeatSeal:       {Worn: "INL", Leaking: "INL", Broken: "INL", Cracked: "INL", Eroded: "INL"},
	pump.Diaphragm:      {Worn: "INL", Leaking: "INL", Broken: "INL", Cracked: "INL", Burst: "INL", LeakingOutside: "ELU"},
	pump.PlungerSeal:    {Worn: "INL", Leaking: "INL", Broken: "INL"},
	pump.ShaftSeal:      {Worn: "ELU", Leaking: "ELU", LeakingOutside: "ELU", Broken: "ELU", Overheated: "ELU"},
	pump.ManifoldSeal:   {Worn: "ELP", Leaking: "ELP", LeakingOutside: "ELP", Broken: "ELP"},
	pump.HydraulicOil:   {Low: "ELU"},
	pump.GearOil:        {Low: "ELU"},
	pump.Dampener:       {Low: "PDE", Leaking: "INL", Burst: "INL"},
}

var valveModes = map[Found]string{
	Worn: "INL", Leaking: "INL", Sticking: "INL", Broken: "INL", Cracked: "INL", Corroded: "INL", Eroded: "INL", Loose: "INL", Plugged: "LOO",
}

// Coded turns the plain word for a part as found into ISO 14224 codes; both
// are "" when nothing had failed or nobody looked. A wrong word gives UNK, 6.4.
// A diaphragm tires: without a better word its mechanism is fatigue (2.6).
func Coded(c pump.Component, found Found) (mode, mechanism string) {
	if found == NotExamined {
		return "", ""
	}
	for _, r := range isoRows {
		if r.found != found {
			continue
		}
		mode, mechanism = r.mode, r.mechanism
		if special := isoModes[c][found]; special != "" {
			mode = special
		}
		if c == pump.Diaphragm && (found == Leaking || found == Worn) {
			mechanism = "2.6"
		}
		return mode, mechanism
	}
	return "UNK", "6.4"
}

// Failed reports whether a part found so had failed.
func (f Found) Failed() bool {
	for _, r := range isoRows {
		if r.found == f {
			return r.failed
		}
	}
	return false
}
