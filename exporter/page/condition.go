package page

import (
	"strconv"
	"strings"

	"pumpside/drivers/quantity"
	"pumpside/rules/service"
)

// A conditionPart is what is concluded of a pump's wear, in words.
type conditionPart struct {
	Baseline string
	Parts    []causeLine
	Rows     []counterRow
	Orders   []orderRow
}

// An orderRow is one order of the pressure's ripple.
type orderRow struct {
	Order int
	Width float64 // of a bar, 0..100 of the largest
	Value figure
	Error string
}

// conditionOf is nil where a pump's condition is not watched.
func conditionOf(v viewer, pump *Pump) *conditionPart {
	c := pump.Condition
	if c == nil {
		return nil
	}
	part := &conditionPart{Baseline: "No baseline yet for where the pump works now."}
	if c.Learned {
		part.Baseline = "Baseline learned from " + strconv.Itoa(c.Blocks) + " minutes, not confirmed healthy."
	}
	if len(c.Changed) > 0 {
		part.Baseline += " Changed since " + v.Clock.instant(c.Since) + ": " + spaced(strings.Join(c.Changed, ", ")) + "."
	}
	for _, f := range c.Parts {
		part.Parts = append(part.Parts, causeLine{Words: sentence(spaced(string(f.Component)) + placeWords(f.Position.Cylinder, f.Position.Side.String())), Percent: percent(float64(f.Probability))})
	}
	if c.Efficiency.Known {
		part.Rows = append(part.Rows, counterRow{Title: "Volumetric efficiency", Value: figure{strconv.FormatFloat(100*c.Efficiency.Value, 'f', 1, 64), "%"}})
	}
	if c.Power.Known {
		part.Rows = append(part.Rows, counterRow{Title: "Hydraulic power", Value: show(v.Units, "", quantity.Power, c.Power.Value)})
	}
	largest := 0.0
	for _, o := range c.Orders {
		largest = max(largest, o.Amplitude)
	}
	for _, o := range c.Orders {
		row := orderRow{Order: o.Order, Value: ripple(v, o.Amplitude), Error: ripple(v, o.Sigma).Number}
		if largest > 0 {
			row.Width = 100 * o.Amplitude / largest
		}
		part.Orders = append(part.Orders, row)
	}
	return part
}

// ripple writes a difference of pressure, which is small beside the pressure.
func ripple(v viewer, pascals float64) figure {
	unit, _ := unitOf(v.Units, "", quantity.Pressure)
	return figure{strconv.FormatFloat(pascals/unit.Scale, 'f', 1, 64), unit.Symbol}
}

func placeWords(cylinder int, side string) string {
	text := ""
	if side != "" {
		text += ", " + side + " side"
	}
	if cylinder > 0 {
		text += ", cylinder " + strconv.Itoa(cylinder)
	}
	return text
}

// forecastWords says when a task will be due: between the dates of 10 and
// 90 % chance.
func forecastWords(v viewer, f *service.Forecast, used float64) string {
	switch {
	case used >= 1:
		return ""
	case f.Why != "":
		return "due date not known: " + f.Why
	case f.Median.IsZero() && f.Early.IsZero():
		return "due in more than three years"
	case f.Median.IsZero():
		return "due not before " + v.Clock.day(f.Early)
	case f.Late.IsZero():
		return "due about " + v.Clock.day(f.Median) + ", not before " + v.Clock.day(f.Early)
	}
	if v.Clock.day(f.Early) == v.Clock.day(f.Late) {
		return "due " + v.Clock.day(f.Median)
	}
	return "due about " + v.Clock.day(f.Median) + " (" + v.Clock.day(f.Early) + " to " + v.Clock.day(f.Late) + ")"
}
