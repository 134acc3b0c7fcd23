package page

import (
	"slices"
	"strconv"
	"strings"

	"pumpside/drivers"
	"pumpside/drivers/quantity"
	"pumpside/rules"
	"pumpside/rules/alarm"
	"pumpside/rules/service"
)

// A conditionPart is what is concluded of a pump's wear, in words.
type conditionPart struct {
	Baseline string
	Parts    []causeLine
	Rows     []counterRow
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
	if c.Leak.Known() {
		part.Rows = append(part.Rows, counterRow{"Flow lost in one head", figure{percent(c.Leak.Middle), "%"}, "of that head's flow; between " + percent(c.Leak.Low) + " and " + percent(c.Leak.High) + " %"})
	}
	if row, ok := efficiencyRow(pump); ok {
		part.Rows = append(part.Rows, row)
	}
	if c.Power.Known {
		part.Rows = append(part.Rows, counterRow{Title: "Hydraulic power", Value: show(v.Units, "", quantity.Power, c.Power.Value)})
	}
	if c.WireToLiquid.Known {
		part.Rows = append(part.Rows, counterRow{Title: "Hydraulic power by the motor's", Value: figure{strconv.FormatFloat(100*c.WireToLiquid.Value, 'f', 1, 64), "%"}})
	}
	if m := c.SuctionMargin; m.Known {
		row := counterRow{Title: "Suction head beyond what the pump needs", Value: show(v.Units, "", quantity.Length, m.Value)}
		if m.Value < 0 {
			row.Note = "below zero: it cavitates"
		}
		part.Rows = append(part.Rows, row)
	}
	if pump.LeakDown != nil {
		part.Rows = append(part.Rows, leakDownRow(pump.LeakDown))
	}
	for i := range c.Trends {
		if t := &c.Trends[i]; t.Clear {
			part.Rows = append(part.Rows, trendRow(t))
		}
	}
	if rate, scored := pump.Score.Rate(); scored > 0 {
		part.Rows = append(part.Rows, counterRow{"The diagnosis named the right place", figure{percent(rate), "%"}, "of " + plural(scored, "finding") + " that people looked at"})
	}
	return part
}

func leakDownRow(l *rules.LeakDownView) counterRow {
	row := counterRow{"Pressure lost in the minute after a stop", figure{percent(l.Newest), "%"}, "usually " + percent(l.Usual) + " %; " + plural(l.Stops, "stop") + " measured"}
	if l.Known {
		row.Note = "learned " + percent(l.Learned) + " %, too much from " + percent(l.Limit) + " %; " + plural(l.Stops, "stop") + " measured"
	}
	return row
}

// trendRow tells where an indicator leads, over the days the pump has run.
func trendRow(t *rules.IndicatorTrend) counterRow {
	return counterRow{
		"Course of " + spaced(t.Indicator),
		figure{fixed(100*t.Last, 1), "%"},
		"from " + fixed(100*t.First, 1) + " % over " + plural(int(t.Days), "day") + " of running; a visit does not wait beyond " + fixed(100*t.Limit, 1) + " %",
	}
}

// efficiencyRow tells how much of what it displaces a pump delivers; nothing
// where no flow is measured.
func efficiencyRow(pump *Pump) (counterRow, bool) {
	row := counterRow{Title: "Volumetric efficiency", Value: figure{"--", "%"}}
	e := pump.Condition.Efficiency
	meter := slices.IndexFunc(pump.Signals, func(s rules.SignalView) bool { return s.Signal == drivers.GlycolFlow })
	switch {
	case meter < 0:
		return row, false
	case pump.Running == alarm.No:
		row.Note = "none while the pump is stopped"
	case pump.Signals[meter].Quality == drivers.Bad:
		row.Note = "not known: the flow is not read"
	case pump.Running == alarm.Unknown:
		row.Note = "not known: nobody sees whether the pump runs"
	case !e.Known:
		row.Note = "not known yet: the pump has not run steadily for long enough"
	default:
		row.Value.Number = fixed(100*max(e.Value, 0), 1)
		switch {
		case e.Value < 0.005:
			row.Note = "it turns and nothing comes out"
		case e.Value > 1.02:
			row.Note = "more than it displaces: the flow meter or the geometry is wrong"
		}
	}
	return row, true
}

func plural(n int, word string) string {
	if n == 1 {
		return "1 " + word
	}
	return whole(float64(n)) + " " + word + "s"
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
