package quantity

import (
	"fmt"
	"math"
	"sort"
	"strconv"
	"strings"
)

// A Dimension says which units may stand for each other.
type Dimension uint8

// The dimensions a setting or a signal can have. Their base units are the
// ones of this package's types.
const (
	None         Dimension = iota // states and counts: no unit
	Pressure                      // Pa
	Temperature                   // °C
	Length                        // m
	Area                          // m²
	Volume                        // m³
	Flow                          // m³/s
	Speed                         // rpm
	Frequency                     // Hz
	Duration                      // s
	Current                       // A
	Torque                        // N·m
	Power                         // W
	Energy                        // J
	Share                         // 1; 100 % is 1
	Density                       // kg/m³
	Viscosity                     // Pa·s
	Compressible                  // 1/Pa
	Mass                          // kg
)

// dimensions has the name people read and the base unit of each Dimension.
var dimensions = [...]struct{ name, base, example string }{
	None:         {"number", "", "3"},
	Pressure:     {"pressure", "Pa", "10 MPa"},
	Temperature:  {"temperature", "°C", "80 °C"},
	Length:       {"length", "m", "25.4 mm"},
	Area:         {"area", "m²", "5 cm²"},
	Volume:       {"volume", "m³", "2.5 L"},
	Flow:         {"flow", "m³/s", "4.2 L/min"},
	Speed:        {"speed", "rpm", "300 rpm"},
	Frequency:    {"frequency", "Hz", "50 Hz"},
	Duration:     {"duration", "s", "1 s"},
	Current:      {"current", "A", "12 A"},
	Torque:       {"torque", "N·m", "40 N·m"},
	Power:        {"power", "W", "7.5 kW"},
	Energy:       {"energy", "J", "3 kWh"},
	Share:        {"share", "1", "95 %"},
	Density:      {"density", "kg/m³", "1110 kg/m³"},
	Viscosity:    {"viscosity", "Pa·s", "47 cP"},
	Compressible: {"compressibility", "1/Pa", "4e-5 1/bar"},
	Mass:         {"mass", "kg", "12 kg"},
}

// String gives the word for d, such as "pressure".
func (d Dimension) String() string { return dimensions[d].name }

// Base gives the symbol of the base unit of d, such as "Pa"; "" for None.
func (d Dimension) Base() string { return dimensions[d].base }

// Example gives a text that [Parse] accepts for d, for messages.
func (d Dimension) Example() string { return dimensions[d].example }

// A Unit turns a number written in it into the base unit of its dimension:
// base = number·Scale + Offset.
type Unit struct {
	Symbol    string
	Dimension Dimension
	Scale     float64
	Offset    float64
}

// ToBase converts a number written in u to the base unit.
func (u Unit) ToBase(x float64) float64 { return x*u.Scale + u.Offset }

// FromBase converts a number in the base unit to u.
func (u Unit) FromBase(x float64) float64 { return (x - u.Offset) / u.Scale }

// Exact conversion factors: 1 in = 25.4 mm, 1 lb = 0.45359237 kg and
// 1 US gal = 231 in³ by the international yard and pound agreement (1959);
// psi and hp follow with standard gravity.
const (
	inch   = 0.0254
	foot   = 12 * inch
	gallon = 231 * inch * inch * inch
	psi    = 6894.757293168361
	hp     = 745.6998715822702
	minute = 60.0
	hour   = 3600.0
	day    = 86400.0
)

// units is every unit a person may write. The first of a dimension with
// scale 1 and offset 0 is its base.
var units = []Unit{
	{"Pa", Pressure, 1, 0},
	{"hPa", Pressure, 100, 0},
	{"mbar", Pressure, 100, 0},
	{"kPa", Pressure, 1e3, 0},
	{"MPa", Pressure, 1e6, 0},
	{"bar", Pressure, 1e5, 0},
	{"psi", Pressure, psi, 0},

	{"°C", Temperature, 1, 0},
	{"C", Temperature, 1, 0},
	{"degC", Temperature, 1, 0},
	{"K", Temperature, 1, -273.15},
	{"°F", Temperature, 1 / 1.8, -32 / 1.8},
	{"F", Temperature, 1 / 1.8, -32 / 1.8},
	{"degF", Temperature, 1 / 1.8, -32 / 1.8},

	{"m", Length, 1, 0},
	{"cm", Length, 1e-2, 0},
	{"mm", Length, 1e-3, 0},
	{"in", Length, inch, 0},
	{"ft", Length, foot, 0},

	{"m²", Area, 1, 0},
	{"m2", Area, 1, 0},
	{"cm²", Area, 1e-4, 0},
	{"cm2", Area, 1e-4, 0},
	{"mm²", Area, 1e-6, 0},
	{"mm2", Area, 1e-6, 0},

	{"m³", Volume, 1, 0},
	{"m3", Volume, 1, 0},
	{"L", Volume, 1e-3, 0},
	{"l", Volume, 1e-3, 0},
	{"mL", Volume, 1e-6, 0},
	{"ml", Volume, 1e-6, 0},
	{"cm³", Volume, 1e-6, 0},
	{"cm3", Volume, 1e-6, 0},
	{"gal", Volume, gallon, 0},

	{"m³/s", Flow, 1, 0},
	{"m3/s", Flow, 1, 0},
	{"m³/h", Flow, 1 / hour, 0},
	{"m3/h", Flow, 1 / hour, 0},
	{"L/s", Flow, 1e-3, 0},
	{"L/min", Flow, 1e-3 / minute, 0},
	{"l/min", Flow, 1e-3 / minute, 0},
	{"L/h", Flow, 1e-3 / hour, 0},
	{"gpm", Flow, gallon / minute, 0},
	{"gal/min", Flow, gallon / minute, 0},
	{"gal/h", Flow, gallon / hour, 0},

	{"rpm", Speed, 1, 0},
	{"1/min", Speed, 1, 0},
	{"rev/s", Speed, 60, 0},

	{"Hz", Frequency, 1, 0},
	{"kHz", Frequency, 1e3, 0},

	{"s", Duration, 1, 0},
	{"us", Duration, 1e-6, 0},
	{"ms", Duration, 1e-3, 0},
	{"min", Duration, minute, 0},
	{"h", Duration, hour, 0},
	{"d", Duration, day, 0},
	{"day", Duration, day, 0},
	{"days", Duration, day, 0},
	{"week", Duration, 7 * day, 0},
	{"weeks", Duration, 7 * day, 0},

	{"A", Current, 1, 0},
	{"mA", Current, 1e-3, 0},

	{"N·m", Torque, 1, 0},
	{"Nm", Torque, 1, 0},
	{"kNm", Torque, 1e3, 0},
	{"lbf·ft", Torque, 4.4482216152605 * foot, 0},
	{"lbf ft", Torque, 4.4482216152605 * foot, 0},

	{"W", Power, 1, 0},
	{"kW", Power, 1e3, 0},
	{"hp", Power, hp, 0},

	{"J", Energy, 1, 0},
	{"kJ", Energy, 1e3, 0},
	{"MJ", Energy, 1e6, 0},
	{"Wh", Energy, hour, 0},
	{"kWh", Energy, 1e3 * hour, 0},

	{"1", Share, 1, 0},
	{"%", Share, 1e-2, 0},

	{"kg/m³", Density, 1, 0},
	{"mg/m³", Density, 1e-6, 0},
	{"kg/m3", Density, 1, 0},
	{"g/cm³", Density, 1e3, 0},
	{"g/cm3", Density, 1e3, 0},

	{"Pa·s", Viscosity, 1, 0},
	{"Pa s", Viscosity, 1, 0},
	{"mPa·s", Viscosity, 1e-3, 0},
	{"mPas", Viscosity, 1e-3, 0},
	{"cP", Viscosity, 1e-3, 0},

	{"1/Pa", Compressible, 1, 0},
	{"1/bar", Compressible, 1e-5, 0},
	{"1/psi", Compressible, 1 / psi, 0},

	{"kg", Mass, 1, 0},
	{"g", Mass, 1e-3, 0},
	{"lb", Mass, 0.45359237, 0},
}

// Lookup finds the unit with that symbol. A symbol belongs to one dimension
// only; case matters, because mPa and MPa are not the same.
func Lookup(symbol string) (Unit, bool) {
	for _, u := range units {
		if u.Symbol == symbol {
			return u, true
		}
	}
	return Unit{}, false
}

// Symbols lists the symbols of d in the order of the table above.
func Symbols(d Dimension) []string {
	var list []string
	for _, u := range units {
		if u.Dimension == d {
			list = append(list, u.Symbol)
		}
	}
	return list
}

// Parse reads a number with its unit, such as "10 MPa" or "1450psi", as a
// value in the base unit of d. Errors say what is wrong and what would be
// right: no unit, a unit of another dimension, a unit nobody knows, no number.
// For None the text is a plain number.
func Parse(text string, d Dimension) (float64, error) {
	number, symbol := split(strings.TrimSpace(text))
	if number == "" {
		return 0, fmt.Errorf("%q is not a %v; write a number with its unit, such as %q", text, d, d.Example())
	}
	x, err := strconv.ParseFloat(number, 64)
	if err != nil || math.IsNaN(x) || math.IsInf(x, 0) {
		return 0, fmt.Errorf("%q is not a finite number", number)
	}
	if d == None {
		if symbol != "" {
			return 0, fmt.Errorf("%q has a unit, but this is a plain number", text)
		}
		return x, nil
	}
	u, err := unitOf(text, symbol, d)
	if err != nil {
		return 0, err
	}
	if x = u.ToBase(x); math.IsInf(x, 0) {
		return 0, fmt.Errorf("%q is too large a number", text)
	}
	return x, nil
}

func unitOf(text, symbol string, d Dimension) (Unit, error) {
	if strings.HasPrefix(symbol, ",") {
		return Unit{}, fmt.Errorf("%q has a comma; write the number with a point, such as %q", text, strings.Replace(text, ",", ".", 1))
	}
	if symbol == "" {
		return Unit{}, fmt.Errorf("%q has no unit; a %v needs one of %s", text, d, strings.Join(Symbols(d), ", "))
	}
	u, known := Lookup(symbol)
	switch {
	case known && u.Dimension == d:
		return u, nil
	case known:
		return Unit{}, fmt.Errorf("%q is a unit of %v, but this is a %v; use one of %s", symbol, u.Dimension, d, strings.Join(Symbols(d), ", "))
	}
	if near := sameButCase(symbol, d); near != "" {
		return Unit{}, fmt.Errorf("unit %q is not known; did you mean %q?", symbol, near)
	}
	return Unit{}, fmt.Errorf("unit %q is not known; a %v needs one of %s", symbol, d, strings.Join(Symbols(d), ", "))
}

// split parts "10 MPa" into "10" and "MPa". The number ends at the last
// character that can belong to it, so that "4e-5 1/bar" splits at the space.
func split(text string) (number, symbol string) {
	end := len(text)
	if i := strings.IndexByte(text, ' '); i >= 0 {
		end = i
	}
	for n := end; n > 0; n-- {
		if _, err := strconv.ParseFloat(text[:n], 64); err == nil {
			return text[:n], strings.TrimSpace(text[n:])
		}
	}
	return "", text
}

func sameButCase(symbol string, d Dimension) string {
	matches := []string{}
	for _, s := range Symbols(d) {
		if strings.EqualFold(s, symbol) {
			matches = append(matches, s)
		}
	}
	sort.Strings(matches)
	if len(matches) == 0 {
		return ""
	}
	return matches[0]
}
