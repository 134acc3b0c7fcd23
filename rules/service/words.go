package service

import (
	"fmt"
	"slices"
	"strings"
)

// Actions, reasons and findings are the plain words of a service record.

// Actions lists what can have been done. "done" is said when nobody says more.
func Actions() []string {
	return []string{
		Performed, Replaced, Cleaned, Reseated, Swapped, Adjusted, ToppedUp, Tested, Inspected, NoFaultFound,
	}
}

// The actions.
const (
	Performed    = "done" // the task, whatever it asks for
	Replaced     = "replaced"
	Cleaned      = "cleaned"
	Reseated     = "reseated"
	Swapped      = "swapped" // with the part of another place
	Adjusted     = "adjusted"
	ToppedUp     = "topped_up"
	Tested       = "tested"
	Inspected    = "inspected" // only looked at
	NoFaultFound = "no_fault_found"
)

// Reasons lists why work was done.
func Reasons() []string {
	return []string{"planned", "due", "alarm", "finding", "breakdown", "opportunity", "commissioning"}
}

// A Found is the state of a part as it was found, in one plain word.
type Found string

// What a part can be found to be.
const (
	NotExamined     Found = "" // nobody looked
	Good            Found = "good"
	Worn            Found = "worn"
	Leaking         Found = "leaking"
	LeakingOutside  Found = "leaking_outside"
	Sticking        Found = "sticking"
	Broken          Found = "broken"
	Cracked         Found = "cracked"
	Burst           Found = "burst"
	Corroded        Found = "corroded"
	Eroded          Found = "eroded"
	Loose           Found = "loose"
	Plugged         Found = "plugged"
	Milky           Found = "milky" // oil with glycol or water in it
	Dark            Found = "dark"  // oil
	Metal           Found = "metal" // in the oil
	Low             Found = "low"   // level or charge
	OutOfAdjustment Found = "out_of_adjustment"
	Overheated      Found = "overheated"
)

// Findings lists every word for a part as found.
func Findings() []string {
	words := make([]string, len(isoRows))
	for i, r := range isoRows {
		words[i] = string(r.found)
	}
	return words
}

func oneOf(what, word string, words []string) error {
	if word == "" || slices.Contains(words, word) {
		return nil
	}
	return fmt.Errorf("%q is no %s; use one of %s", word, what, strings.Join(words, ", "))
}
