package alarm

import (
	"fmt"
	"math"
	"strconv"
	"time"

	"pumpside/drivers/quantity"
)

// Units is the system numbers are shown in. The zero value is metric.
type Units uint8

// The systems: Metric with kPa, L/min and °C; Field, of the United States,
// with psi, gpm and °F.
const (
	Metric Units = iota
	Field
)

// A figure is how numbers of one dimension are written: unit and decimals.
type figure struct {
	symbol   string
	decimals int
}

// figures has the two systems by dimension. What has no row is written in its
// base unit with two decimals.
var figures = map[quantity.Dimension][2]figure{
	quantity.Pressure:    {{"kPa", 0}, {"psi", 0}},
	quantity.Temperature: {{"°C", 0}, {"°F", 0}},
	quantity.Length:      {{"m", 1}, {"ft", 1}},
	quantity.Volume:      {{"L", 1}, {"gal", 1}},
	quantity.Flow:        {{"L/min", 1}, {"gpm", 1}},
	quantity.Speed:       {{"rpm", 0}, {"rpm", 0}},
	quantity.Frequency:   {{"Hz", 1}, {"Hz", 1}},
	quantity.Current:     {{"A", 1}, {"A", 1}},
	quantity.Torque:      {{"N·m", 0}, {"lbf·ft", 0}},
	quantity.Power:       {{"kW", 1}, {"hp", 1}},
	quantity.Energy:      {{"kWh", 0}, {"kWh", 0}},
	quantity.Share:       {{"%", 0}, {"%", 0}},
	quantity.Density:     {{"kg/m³", 0}, {"kg/m³", 0}},
	quantity.Viscosity:   {{"cP", 0}, {"cP", 0}},
	quantity.Mass:        {{"kg", 1}, {"lb", 1}},
}

// gasFlow and leakage are flows of quite another size than the glycol's.
var (
	gasFlow = [2]figure{{"m³/h", 0}, {"m³/h", 0}}
	leakage = [2]figure{{"mL/h", 0}, {"mL/h", 0}}
)

// milliliterPerHour is the size of a seal's leakage in m³/s.
const milliliterPerHour = 1e-6 / 3600

// Figure writes q with its unit and the decimals fixed for its dimension.
func (u Units) Figure(q Quantity) string { return u.write(q, "", 0) }

// write is Figure for a value of that name (a signal or an evidence key), with
// more decimals if asked.
func (u Units) write(q Quantity, name string, more int) string {
	switch {
	case math.IsNaN(q.Value) || math.IsInf(q.Value, 0):
		return "no number"
	case q.Dimension == quantity.None:
		return strconv.FormatFloat(round(q.Value, 2), 'f', -1, 64)
	case q.Dimension == quantity.Duration:
		return hoursOf(q.Value)
	}
	f, known := figures[q.Dimension]
	switch name {
	case "gas_flow":
		f = gasFlow
	case "seal_leak":
		f = leakage
	}
	one := f[min(u, Field)]
	if !known {
		one = figure{q.Dimension.Base(), 2}
	}
	x := inUnit(q.Value, one.symbol, q.Dimension)
	return fmt.Sprintf("%.*f %s", one.decimals+more, round(x, one.decimals+more), one.symbol)
}

func inUnit(x float64, symbol string, d quantity.Dimension) float64 {
	if symbol == "mL/h" {
		return x / milliliterPerHour
	}
	if unit, ok := quantity.Lookup(symbol); ok && unit.Dimension == d {
		return unit.FromBase(x)
	}
	return x
}

// pair writes a value and its limit; when both would read alike although they
// differ they get more decimals.
func (u Units) pair(value, limit Quantity, name string) (v, l string) {
	for more := range 3 {
		v, l = u.write(value, name, more), u.write(limit, name, more)
		if v != l || value.Value == limit.Value {
			break
		}
	}
	return v, l
}

// round also turns a negative zero into zero.
func round(x float64, decimals int) float64 {
	p := math.Pow(10, float64(decimals))
	return math.Round(x*p)/p + 0
}

// hoursOf writes a number of seconds as people read meters: hours beyond two.
func hoursOf(seconds float64) string {
	switch {
	case math.Abs(seconds) < 120:
		return strconv.FormatFloat(round(seconds, 1), 'f', -1, 64) + " s"
	case math.Abs(seconds) < 7200:
		return fmt.Sprintf("%.0f min", seconds/60)
	}
	return fmt.Sprintf("%.0f h", seconds/3600)
}

// Span writes a length of time as people say it, with at most two units.
func Span(d time.Duration) string {
	const day = 24 * time.Hour
	switch {
	case d < 0:
		return "-" + Span(-d)
	case d < time.Minute:
		return fmt.Sprintf("%d s", d/time.Second)
	case d < time.Hour:
		return fmt.Sprintf("%d min", d/time.Minute)
	case d < 2*day:
		return two(d, time.Hour, "h", time.Minute, "min")
	}
	return two(d, day, "days", time.Hour, "h")
}

func two(d, big time.Duration, bigWord string, small time.Duration, smallWord string) string {
	if rest := d % big / small; rest > 0 {
		return fmt.Sprintf("%d %s %d %s", d/big, bigWord, rest, smallWord)
	}
	return fmt.Sprintf("%d %s", d/big, bigWord)
}
