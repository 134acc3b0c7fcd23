package probe

import (
	"fmt"
	"strings"

	"pumpside/drivers"
	"pumpside/drivers/quantity"
	"pumpside/drivers/regmap"
)

// stateWords are what a person sees of a drive instead of a number.
var stateWords = map[string]drivers.DriveState{
	"stopped": drivers.DriveStopped, "running": drivers.DriveRunning, "fault": drivers.DriveFault,
}

// switchWords are what a person sees of a contact. A bit is met everywhere, so
// that the manual's number is needed beside it.
var switchWords = map[string]float64{"on": 1, "off": 0}

// word reads an expectation that is no number: status=running, demand@10202=on.
func (e *Expectation) word(value string) (is bool, err error) {
	e.State = stateWords[strings.ToLower(value)]
	on, isSwitch := switchWords[strings.ToLower(value)]
	switch {
	case e.State != drivers.DriveUnknown:
		return true, nil
	case !isSwitch:
		return false, nil
	case !e.Table.HasBits():
		return true, fmt.Errorf("%s is in too many places; say where the manual has %s, a coil or discrete input: %q", value, e.Name, e.Name+"@10001="+value)
	}
	e.Switch, e.Value = true, on
	return true, nil
}

// states finds the status words that say what the drive is doing.
func (e *Expectation) states(b Block, i int) (found []Find) {
	for _, t := range []regmap.Type{regmap.Status402, regmap.StatusPROFIdrive} {
		r := read(b, i, t, regmap.NoOrder)
		says := len(r.Values) > 0
		for _, x := range r.Values {
			says = says && x == float64(e.State)
		}
		if says {
			found = append(found, Find{Table: b[i].Table, Address: b[i].Address, Reading: r, Scale: 1})
		}
	}
	return found
}

// switches finds the bits beside the manual's number that stand as the contact
// does.
func (e *Expectation) switches(b Block, i int) []Find {
	r := read(b, i, regmap.Bool, regmap.NoOrder)
	if b[i].Table != e.Table || r.Last() != e.Value {
		return nil
	}
	return []Find{{Table: b[i].Table, Address: b[i].Address, Reading: r, Scale: 1}}
}

// Words writes a value found for e as people read it, in unit u.
func (e *Expectation) Words(x float64, u quantity.Unit) string {
	switch {
	case e.State != drivers.DriveUnknown:
		return drivers.DriveState(x).String()
	case e.Switch && x == 1:
		return "on"
	case e.Switch:
		return "off"
	}
	return strings.TrimSpace(fmt.Sprintf("%.6g %s", x, u.Symbol))
}
