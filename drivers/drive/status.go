package drive

import "pumpside/drivers"

// A Status is what one status word says. The zero Status says nothing.
type Status struct {
	State   drivers.DriveState
	Warning bool   // the drive warns and goes on
	Name    string // the standard's name of the precise state; "undefined" when there is none
}

var undefined = Status{State: drivers.DriveUnknown, Name: "undefined"}

// A state is one row of a standard's table: a word is in it when the bits
// under mask are those of value.
type state struct {
	mask, value uint16
	name        string
	state       drivers.DriveState
}

// match finds the first row that word is in. warning is the bit that says so.
func match(table []state, word, warning uint16) Status {
	for _, row := range table {
		if word&row.mask == row.value {
			return Status{State: row.state, Warning: word&warning != 0, Name: row.name}
		}
	}
	return undefined
}
