package page

import (
	"math"
	"strconv"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"pumpside/drivers"
	"pumpside/drivers/quantity"
	"pumpside/rules/alarm"
	"pumpside/rules/service"
)

// A figure is a number and its unit as people read them.
type figure struct{ Number, Unit string }

func (f figure) String() string {
	if f.Unit == "" {
		return f.Number
	}
	return f.Number + " " + f.Unit
}

// unitOf is the unit numbers of that signal are shown in, what one of it is in
// base units, and its decimals. Leaks and gas are flows of another size than
// the glycol's.
func unitOf(u alarm.Units, name string, d quantity.Dimension) (unit quantity.Unit, decimals int) {
	switch {
	case name == "seal_leak":
		return quantity.Unit{Symbol: "mL/h", Dimension: d, Scale: 1e-6 / 3600}, 0
	case name == "gas_flow":
		unit, _ = quantity.Lookup("m³/h")
		return unit, 0
	case d == quantity.Duration:
		unit, _ = quantity.Lookup("h")
		return unit, 1
	case d == quantity.None:
		return quantity.Unit{Scale: 1}, 2
	}
	number, symbol, _ := strings.Cut(u.Figure(alarm.Quantity{Dimension: d}), " ")
	_, behind, _ := strings.Cut(number, ".")
	unit, known := quantity.Lookup(symbol)
	if !known {
		unit = quantity.Unit{Symbol: symbol, Dimension: d, Scale: 1}
	}
	return unit, len(behind)
}

// show writes a number of a signal with the decimals fixed for it.
func show(u alarm.Units, name string, d quantity.Dimension, x float64) figure {
	unit, decimals := unitOf(u, name, d)
	return figure{fixed(unit.FromBase(x), decimals), unit.Symbol}
}

// fixed writes a number with so many decimals, "--" for none.
func fixed(x float64, decimals int) string {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return "--"
	}
	return grouped(strconv.FormatFloat(x, 'f', decimals, 64))
}

// grouped parts thousands by a thin space, from five digits on.
func grouped(number string) string {
	whole, behind, cut := strings.Cut(number, ".")
	sign := ""
	if rest, negative := strings.CutPrefix(whole, "-"); negative {
		sign, whole = "−", rest
	}
	if strings.Trim(whole+behind, "0") == "" {
		sign = "" // no negative zero
	}
	if len(whole) > 4 {
		first := (len(whole)-1)%3 + 1
		parts := []string{whole[:first]}
		for i := first; i < len(whole); i += 3 {
			parts = append(parts, whole[i:i+3])
		}
		whole = strings.Join(parts, "\u202f")
	}
	if cut {
		return sign + whole + "." + behind
	}
	return sign + whole
}

// switchWords are the words for 0 and 1 of switches that have better ones than
// off and on.
var switchWords = map[drivers.Signal][2]string{
	drivers.ContactorAuxiliary: {"open", "closed"},
	drivers.BypassContactor:    {"open", "closed"},
	drivers.RunDemand:          {"stop", "run"},
	drivers.Permissive:         {"not given", "given"},
	drivers.ControlPower:       {"lost", "present"},
	drivers.GlycolFlowSwitch:   {"no flow", "flow"},
	drivers.BypassValve:        {"closed", "open"},
	drivers.OilLevelSwitch:     {"enough", "low"},
	drivers.DiaphragmLeak:      {"none", "leak"},
}

var selectorWords = []string{"off", "hand", "auto"}

// showSignal writes the value of a signal: words for switches and states.
func showSignal(u alarm.Units, s drivers.Signal, name string, d quantity.Dimension, x float64) figure {
	info := s.Info()
	switch {
	case s == drivers.DriveStatus:
		return figure{Number: drivers.DriveState(max(x, 0)).String()}
	case s == drivers.Selector && x >= 0 && int(x) < len(selectorWords):
		return figure{Number: selectorWords[int(x)]}
	case info.Kind == drivers.Switch && s < drivers.SignalCount:
		words, own := switchWords[s]
		if !own {
			words = [2]string{"off", "on"}
		}
		if x >= 0.5 {
			return figure{Number: words[1]}
		}
		return figure{Number: words[0]}
	case info.Kind == drivers.Count && s < drivers.SignalCount:
		return figure{Number: whole(x)}
	}
	return show(u, name, d, x)
}

// hours writes seconds of run time as hours.
func hours(seconds float64, decimals int) string {
	return fixed(seconds/3600, decimals)
}

func whole(x float64) string { return fixed(x, 0) }

func percent(x float64) string { return fixed(100*x, 0) }

// used is the percent of an interval that is used up: 100 only when it is.
func used(x float64) string { return fixed(service.Percent(x), 0) }

// spaced turns a name into words.
func spaced(name string) string {
	return strings.ReplaceAll(strings.ReplaceAll(name, "_", " "), "-", " ")
}

// sentence begins a text with a capital letter.
func sentence(text string) string {
	if text == "" {
		return ""
	}
	first, size := utf8.DecodeRuneInString(text)
	return string(unicode.ToUpper(first)) + text[size:]
}

// lower is sentence undone.
func lower(text string) string {
	first, size := utf8.DecodeRuneInString(text)
	if size == 0 {
		return ""
	}
	return string(unicode.ToLower(first)) + text[size:]
}

// ago writes how long ago something was.
func ago(d time.Duration) string { return alarm.Span(max(d, 0)) }

// clock writes times in the zone of the site, always with the date.
type clock struct{ zone *time.Location }

func (c clock) stamp(t time.Time) string {
	if t.IsZero() {
		return "time not known"
	}
	return t.In(c.zone).Format("2006-01-02 15:04")
}

func (c clock) second(t time.Time) string { return t.In(c.zone).Format("2006-01-02 15:04:05") }

func (c clock) day(t time.Time) string { return t.In(c.zone).Format("2006-01-02") }

// instant writes an instant and says when its clock could not be trusted.
func (c clock) instant(i drivers.Instant) string {
	switch {
	case i.IsZero():
		return "never"
	case !i.Synchronized:
		return c.stamp(i.Wall) + " (clock not set)"
	}
	return c.stamp(i.Wall)
}
