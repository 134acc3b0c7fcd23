package page

import (
	"cmp"
	"math"
	"slices"
	"strings"

	"pumpside/drivers"
	"pumpside/drivers/quantity"
	"pumpside/rules"
	"pumpside/rules/alarm"
	"pumpside/rules/service"
)

func findPump(view *View, id string) (*Pump, error) {
	for i := range view.Pumps {
		if view.Pumps[i].ID == id {
			return &view.Pumps[i], nil
		}
	}
	return nil, errNotFound("there is no pump " + quoted(id) + " at this site")
}

// quoted puts what somebody wrote into quotation marks, cut to a size fit to
// show.
func quoted(text string) string {
	if runes := []rune(text); len(runes) > 40 {
		text = string(runes[:40]) + "…"
	}
	return "“" + text + "”"
}

// pumpData is what does not change on a pump's screen while it is open.
type pumpData struct {
	*Pump
	Signals []signalRow // measured ones
	States  []signalRow // switches, states and counts
	Ranges  []trendRange
}

// A trendRange is one stretch of time to look back over.
type trendRange struct {
	Seconds int64
	Word    string
}

var trendRanges = []trendRange{
	{600, "10 min"}, {3600, "1 h"}, {8 * 3600, "8 h"}, {86400, "1 d"}, {7 * 86400, "7 d"}, {30 * 86400, "30 d"}, {365 * 86400, "1 y"}, {730 * 86400, "2 y"},
}

// pumpScreen answers, from the top: is it well, what do I do first, which part
// is it, what do the signals say, since when, what is used up, what happened?
func pumpScreen(p *Page, a ask, view View, v viewer) (*screen, error) {
	pump, err := findPump(&view, a.Pump)
	if err != nil {
		return nil, err
	}
	s := &screen{Title: pump.Tag, Nav: "site", Body: "pump"}
	rows := signalRows(v, &view, pump)
	data := pumpData{Pump: pump, Ranges: trendRanges}
	for _, row := range rows {
		if row.Kind == drivers.Analog {
			data.Signals = append(data.Signals, row)
		} else {
			data.States = append(data.States, row)
		}
	}
	s.Data = data
	s.add("status", "pump-status", p.siteLine(v, a.Path, &view, pump))
	first := p.lines(v, a.Path, &view, pump, stands)
	if len(first) > 0 {
		first[0].Open = true
	}
	s.add("first", "pump-first", first)
	s.add("silenced", "pump-silenced", p.lines(v, a.Path, &view, pump, func(a *alarm.View) bool { return set(a) && (a.Shelved || a.Removed || a.State != alarm.Normal) }))
	s.add("diagram", "pump-diagram", diagramOf(pump))
	s.add("causes", "pump-causes", causeLines(pump.causes()))
	s.add("condition", "pump-condition", conditionOf(v, pump))
	s.add("turn", "pump-turn", turnOf(v, pump))
	for _, row := range rows {
		s.add("v-"+row.Name, "signal-value", row)
	}
	s.add("followed", "pump-followed", followedOf(v, pump))
	s.add("life", "pump-life", p.taskRows(v, pump, view.At))
	s.add("counters", "pump-counters", counterRows(v, pump))
	entries, err := p.tail(a, pump.ID, pump.Seq)
	s.add("journal", "journal", p.journalPart(v, &view, entries, err))
	return s, nil
}

// A signalRow is one signal: value, unit and normal band together; its trend
// is drawn beside it.
type signalRow struct {
	Name, Title string
	Value       figure
	Bad         bool
	Uncertain   bool
	Why         string // why it is not good, and how old the last good value is
	Band        string // in words
	Bar         *bar   // nil where there is no scale
	Mark        *mark  // of the worst alarm on it that is there
	Plot        bool   // it has a history that is worth drawing
	Kind        drivers.Kind
}

// A bar is a value on its scale: all in 0..100.
type bar struct {
	BandFrom, BandTo float64
	HasBand          bool
	At               float64
	Show             bool
}

func signalRows(v viewer, view *View, pump *Pump) []signalRow {
	rows := make([]signalRow, len(pump.Signals))
	for i := range pump.Signals {
		rows[i] = signalRowOf(v, view, pump, &pump.Signals[i])
	}
	return rows
}

func signalRowOf(v viewer, view *View, pump *Pump, s *rules.SignalView) signalRow {
	band := pump.Bands[s.Name]
	row := signalRow{
		Name: s.Name, Title: sentence(pump.title(s.Name)), Value: showSignal(v.Units, s.Signal, s.Name, s.Dimension, s.Value),
		Bad: s.Quality == drivers.Bad, Uncertain: s.Quality == drivers.Uncertain, Plot: s.Signal != drivers.DriveFaultCode,
		Band: bandWords(v, s.Name, s.Dimension, band), Kind: s.Signal.Info().Kind,
	}
	if s.Signal >= drivers.FirstAuxiliary {
		row.Kind = drivers.Analog
	}
	if row.Bad {
		row.Value.Number = "--"
	}
	if row.Bad || row.Uncertain {
		row.Why = spaced(s.Reason.String())
		if age, known := view.At.Since(s.GoodAt); known && !s.GoodAt.IsZero() {
			row.Why += ", last good " + ago(age) + " ago"
		}
	}
	row.Bar = barOf(band, s.Value, !row.Bad)
	row.Mark = signalMark(pump, s)
	return row
}

// signalMark is that of the most urgent alarm on a signal whose condition is
// there.
func signalMark(pump *Pump, s *rules.SignalView) *mark {
	var worst *alarm.View
	for i := range pump.Alarms {
		a := &pump.Alarms[i]
		about := a.Last != nil && (a.Last.Signal == s.Signal && s.Signal < drivers.FirstAuxiliary || a.Last.Subject == s.Name)
		if about && a.State.Active() && !set(a) && (worst == nil || urgency(a) > urgency(worst)) {
			worst = a
		}
	}
	if worst == nil {
		return nil
	}
	m := markOf(worst)
	return &m
}

func bandWords(v viewer, name string, d quantity.Dimension, b Band) string {
	low, high := "", ""
	if b.Low != nil {
		low = show(v.Units, name, d, *b.Low).Number
	}
	if b.High != nil {
		high = show(v.Units, name, d, *b.High).Number
	}
	switch {
	case low != "" && high != "":
		return low + " to " + high
	case low != "":
		return "above " + low
	case high != "":
		return "below " + high
	}
	return ""
}

// barOf puts a value on its scale: that of the point, or one with a quarter of
// the band's width on either side.
func barOf(b Band, value float64, show bool) *bar {
	low, high := b.ScaleLow, b.ScaleHigh
	if low == nil || high == nil {
		if b.Low == nil || b.High == nil {
			return nil
		}
		room := (*b.High - *b.Low) / 4
		from, to := *b.Low-room, *b.High+room
		low, high = &from, &to
	}
	if !(*high > *low) {
		return nil
	}
	place := func(x float64) float64 { return 100 * min(max((x-*low)/(*high-*low), 0), 1) }
	one := &bar{BandTo: 100, Show: show && !math.IsNaN(value)}
	if one.Show {
		one.At = place(value)
	}
	if b.Low != nil {
		one.BandFrom, one.HasBand = place(*b.Low), true
	}
	if b.High != nil {
		one.BandTo, one.HasBand = place(*b.High), true
	}
	return one
}

// BandWidth is the width of the normal band.
func (b bar) BandWidth() float64 { return max(b.BandTo-b.BandFrom, 0) }

// A taskRow is the life of a service task.
type taskRow struct {
	Pump, Tag, Task, Title string
	Used                   string
	Width                  float64 // of the bar, 0..100 for 0..125 % used
	Of                     string  // how much of what is used
	Word                   string
	Late, Soon             bool
	Parts                  string
	Last                   string
	Forecast               string // when it will be due; "" when nobody can tell
	NoCalendar             bool   // its calendar cannot be told
	Places                 string // of a task whose places are counted apart, where they differ
	used                   float64
}

func (p *Page) taskRows(v viewer, pump *Pump, now drivers.Instant) []taskRow {
	rows := make([]taskRow, len(pump.Tasks))
	for i := range pump.Tasks {
		rows[i] = taskRowOf(v, pump, &pump.Tasks[i])
	}
	return rows
}

func taskRowOf(v viewer, pump *Pump, t *rules.TaskView) taskRow {
	row := taskRow{
		Pump: pump.ID, Tag: pump.Tag, Task: t.Task, Title: sentence(pump.title(t.Task)), Used: used(t.Life.Used),
		Width: min(80*t.Life.Used, 100), Of: lifeWords(t.Life), Word: statusWords[t.Status],
		Late: t.Status >= service.Due, Soon: t.Status == service.DueSoon, Parts: pump.Parts[t.Task],
		NoCalendar: !t.Life.CalendarKnown, used: t.Life.Used, Last: "never recorded", Forecast: forecastWords(v, &t.Window.Due, t.Life.Used),
	}
	row.Places = placesWords(t.Places)
	if t.Done.Count > 0 {
		row.Last = "last done " + v.Clock.instant(t.Done.At) + " by " + t.Done.By
	}
	return row
}

// placesWords names the places used most, where they differ.
func placesWords(places []rules.PlaceView) string {
	most, least := "", ""
	var names []string
	for _, one := range slices.SortedStableFunc(slices.Values(places), func(a, b rules.PlaceView) int { return cmp.Compare(b.Life.Used, a.Life.Used) }) {
		least = percent(one.Life.Used)
		if most == "" {
			most = least
		}
		if least == most {
			names = append(names, one.Position.String())
		}
	}
	switch {
	case len(places) < 2:
		return ""
	case least == most:
		return "all " + plural(len(places), "place") + " alike"
	}
	return strings.Join(names, ", ") + " " + most + " %, others from " + least + " %"
}

func lifeWords(l service.Life) string {
	switch l.By {
	case service.ByRunTime:
		return hours(l.Spent, 0) + " of " + hours(l.Limit, 0) + " h run"
	case service.ByWarmTime:
		return hours(l.Spent, 0) + " of " + hours(l.Limit, 0) + " h run, weighted by oil temperature"
	case service.ByWorn:
		return whole(l.Spent/1e6) + " of " + whole(l.Limit/1e6) + " million strokes per plunger, weighted by pressure"
	case service.ByTable:
		return percent(l.Spent) + " % by the table of intervals"
	case service.ByCondition:
		return "the diagnosis asks for it"
	case service.ByStrokes:
		return whole(l.Spent/1e6) + " of " + whole(l.Limit/1e6) + " million strokes per plunger"
	case service.ByCalendar:
		const day = 86400
		return whole(l.Spent/day) + " of " + whole(l.Limit/day) + " days"
	}
	return "no interval"
}

// A counterRow is one counter.
type counterRow struct {
	Title string
	Value figure
	Note  string
}

const strokesRow = 2 // of the rows below

func counterRows(v viewer, pump *Pump) []counterRow {
	t := &pump.Totals
	rows := []counterRow{
		{"Run time", figure{hours(t.RunSeconds, 1), "h"}, ""},
		{"Not observed", figure{hours(t.StillUnobservedSeconds, 1), "h"}, "hours in which nobody can tell whether it was running or stopped; no part of the run time"},
		{"Strokes per plunger", figure{whole(t.Revolutions), ""}, "= revolutions of the pump shaft"},
		{"Discharge strokes", figure{whole(t.DischargeStrokes), ""}, ""},
		{"Starts", figure{whole(t.Starts), ""}, ""},
		{"Pumped", cubic(v.Units, t.PumpedVolume), ""},
		{"Energy", show(v.Units, "", quantity.Energy, t.Energy), ""},
	}
	if n := t.ReckonedRevolutions; n > 0 {
		rows[strokesRow].Note += ", of which about " + whole(n) + " reckoned from the drive's hour meter, at the speed before a gap"
	}
	return rows
}

// cubic writes a volume too large for litres.
func cubic(u alarm.Units, x float64) figure {
	symbol := "m³"
	if u == alarm.Field {
		symbol = "gal"
	}
	unit, _ := quantity.Lookup(symbol)
	return figure{whole(unit.FromBase(x)), symbol}
}
