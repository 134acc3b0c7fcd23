package page

import (
	"math"
	"net/url"
	"slices"
	"strconv"
	"time"

	"pumpside/drivers/quantity"
	"pumpside/rules"
	"pumpside/rules/alarm"
)

// longest is the longest stretch of time that has a history.
const longest = 2*366*24*time.Hour + time.Hour

func trendQuery(q url.Values, pump *Pump, now time.Time) (TrendQuery, *rules.SignalView, error) {
	name := q.Get("signal")
	i := slices.IndexFunc(pump.Signals, func(s rules.SignalView) bool { return s.Name == name })
	if i < 0 {
		return TrendQuery{}, nil, errNotFound("pump " + quoted(pump.ID) + " has no signal " + quoted(name))
	}
	to, err := moment(q, "to", now)
	if err != nil {
		return TrendQuery{}, nil, err
	}
	from, err := moment(q, "from", to.Add(-time.Hour))
	if err != nil {
		return TrendQuery{}, nil, err
	}
	points, err := number(q, "points", 600, 1, trendMost)
	switch {
	case err != nil:
		return TrendQuery{}, nil, err
	case !to.After(from):
		return TrendQuery{}, nil, errQuery("from must be before to")
	case to.Sub(from) > longest:
		return TrendQuery{}, nil, errQuery("the time asked for is longer than two years")
	}
	return TrendQuery{Pump: pump.ID, Signal: name, From: from, To: to, Points: points}, &pump.Signals[i], nil
}

// moment reads Unix seconds of a query.
func moment(q url.Values, key string, usual time.Time) (time.Time, error) {
	text := q.Get(key)
	if text == "" {
		return usual, nil
	}
	x, err := strconv.ParseFloat(text, 64)
	if err != nil || !(math.Abs(x) < 1e11) {
		return usual, errQuery(key + " is " + quoted(text) + "; write seconds since 1970")
	}
	return time.UnixMilli(int64(x * 1e3)).UTC(), nil
}

func unix(t time.Time) float64 { return float64(t.UnixMilli()) / 1e3 }

// short leaves out digits that no screen shows.
func short(x float64) float64 {
	y, _ := strconv.ParseFloat(strconv.FormatFloat(x, 'g', 6, 64), 64) // its own text always parses
	return y
}

func unitForScript(units string, s *rules.SignalView) quantity.Unit {
	switch units {
	case "metric":
		u, _ := unitOf(alarm.Metric, s.Name, s.Dimension)
		return u
	case "us_field":
		u, _ := unitOf(alarm.Field, s.Name, s.Dimension)
		return u
	}
	return quantity.Unit{Symbol: s.Dimension.Base(), Scale: 1}
}

// inUnit gives a limit in a unit, nil for none.
func inUnit(u quantity.Unit, x *float64) *float64 {
	if x == nil {
		return nil
	}
	y := u.FromBase(*x)
	return &y
}
