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
func (u Units) Figure(q Quantity) string { return u.write(q, manner{}) }

// A manner is how a number is to be written other than by its dimension.
type manner struct {
	name       string // of the signal or the evidence
	difference bool   // of two values: 5 °C more are 9 °F more, not 41
	perMinute  bool   // the number is a change per second
	more       int    // decimals more than usual
}

func (u Units) write(q Quantity, how manner) string {
	if how.perMinute {
		q.Value, how.difference = 60*q.Value, true
	}
	switch {
	case !finite(q.Value):
		return "no number"
	case q.Dimension == quantity.None:
		return strconv.FormatFloat(round(q.Value, 2), 'f', -1, 64)
	case q.Dimension == quantity.Duration:
		return hoursOf(q.Value)
	}
	f := u.figure(q.Dimension, how.name)
	decimals := f.decimals + how.more
	if how.perMinute {
		decimals++
	}
	x := round(inUnit(q, f.symbol, how.difference), decimals)
	if f.symbol == "%" && q.Value < 1 && x >= 100 {
		x = 100 - math.Pow10(-decimals) // what is not quite used up does not read as used up
	}
	return fmt.Sprintf("%.*f %s", decimals, x, f.symbol)
}

func (u Units) figure(d quantity.Dimension, name string) figure {
	f, known := figures[d]
	switch {
	case name == "gas_flow":
		f = gasFlow
	case name == "seal_leak":
		f = leakage
	case !known:
		return figure{d.Base(), 2}
	}
	return f[min(u, Field)]
}

func inUnit(q Quantity, symbol string, difference bool) float64 {
	if symbol == "mL/h" {
		return q.Value / milliliterPerHour
	}
	unit, ok := quantity.Lookup(symbol)
	switch {
	case !ok || unit.Dimension != q.Dimension:
		return q.Value
	case difference:
		return q.Value / unit.Scale
	}
	return unit.FromBase(q.Value)
}

// pair writes a value and its limit; when both would read alike although they
// differ they get more decimals.
func (u Units) pair(value, limit Quantity, how manner) (v, l string) {
	for how.more = range 3 {
		v, l = u.write(value, how), u.write(limit, how)
		if v != l || value.Value == limit.Value || value.Dimension == quantity.Share {
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
