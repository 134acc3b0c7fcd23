package rules

import (
	"time"

	"pumpside/drivers/quantity"
	"pumpside/rules/alarm"
	"pumpside/rules/condition"
)

// Names of the indicators whose course is kept.
const (
	LeakCourse       = "leak_ratio"            // of one head's flow, while one head is believed to lose some
	EfficiencyCourse = "efficiency_of_learned" // volumetric efficiency by what was learned in its band
)

// A Course is one indicator over the pump's running time, since the last
// service or since the finding began. It is bounded: see [condition.Series].
// Its x is days of running, which go on whatever the clock does.
type Course struct {
	Series condition.Series `json:"series"`
	Sum    float64          `json:"sum,omitzero"` // being gathered
	Count  int              `json:"count,omitzero"`
	From   time.Duration    `json:"from,omitzero"` // run time at the first of them
}

// courseStep is how much running makes one point: short enough to tell a trend
// from three days, long enough for bands and temperatures to even out.
const courseStep = 6 * time.Hour

// add takes one value at a run time and reports whether a point was made.
func (c *Course) add(run time.Duration, value float64) bool {
	if c.Count == 0 {
		c.From = run
	}
	c.Sum += value
	c.Count++
	if run-c.From < courseStep {
		return false
	}
	const day = 24 * time.Hour
	c.Series.Add((c.From+(run-c.From)/2).Hours()/day.Hours(), c.Sum/float64(c.Count))
	c.Sum, c.Count = 0, 0
	return true
}

// shift moves the courses when the pump's run time moves by so much without
// its having run.
func (c *courses) shift(run time.Duration) {
	for _, one := range []*Course{&c.Leak, &c.Efficiency} {
		one.From += run
		for i := range one.Series.Points {
			one.Series.Points[i][0] += run.Hours() / 24
		}
	}
}

// An IndicatorTrend is where the course of an indicator leads. Slopes are by
// Theil and Sen, per day of running; nobody may take them for a date of
// failure, for a cut seat can fail within hours.
type IndicatorTrend struct {
	Indicator string  `json:"indicator"` // one of the Course constants
	Points    int     `json:"points"`
	Days      float64 `json:"days"`  // of running, from the first point to the last
	First     float64 `json:"first"` // the trend's line at the first point,
	Last      float64 `json:"last"`  // and at the last
	Slope     float64 `json:"slope"`
	Low       float64 `json:"slope_low"` // 95 % confidence interval of the slope
	High      float64 `json:"slope_high"`
	Limit     float64 `json:"limit"`  // from which on a visit does not wait
	Chance    float64 `json:"chance"` // of as clear a trend where there is none (Mann and Kendall)
	// Clear is whether the course is long enough, and the trend more than
	// chance.
	Clear bool `json:"clear"`
}

// A trend is clear from three days of running on (common practice, no source),
// at a chance of one in twenty.
const (
	clearDays   = 3
	clearChance = 0.05
)

func (c *Course) trend(indicator string, limit float64) (IndicatorTrend, bool) {
	t, ok := c.Series.Trend()
	if !ok {
		return IndicatorTrend{}, false
	}
	p := c.Series.Points
	first, last := p[0][0], p[len(p)-1][0]
	return IndicatorTrend{
		Indicator: indicator, Limit: limit, Points: len(p), Days: last - first,
		First: t.Intercept + t.Slope*first, Last: t.Intercept + t.Slope*last,
		Slope: t.Slope, Low: t.Low, High: t.High, Chance: t.P,
		Clear: last-first >= clearDays && t.P < clearChance && t.Low*t.High > 0,
	}, true
}

// courses are those of a pump's indicators.
type courses struct {
	Leak       Course `json:"leak,omitzero"`
	Efficiency Course `json:"efficiency,omitzero"`
}

// trends finds them anew.
func (c *courses) trends(list []IndicatorTrend) []IndicatorTrend {
	if t, ok := c.Leak.trend(LeakCourse, largeLeak); ok {
		list = append(list, t)
	}
	if t, ok := c.Efficiency.trend(EfficiencyCourse, efficiencyWorse); ok {
		list = append(list, t)
	}
	return list
}

// follow adds what was judged last to the courses: the efficiency of a fresh
// block, and the leak when it was ranked anew.
func (o *observer) follow(s *State, fresh bool) {
	c, run, more := &s.Observed.Courses, s.totals.Run, false
	for i := range o.changes {
		if x := &o.changes[i]; fresh && x.Indicator == condition.VolumetricEfficiency && x.Learned && real(x.Baseline) > 0 {
			more = c.Efficiency.add(run, real(x.Value)/real(x.Baseline))
		}
	}
	switch {
	case !o.changed:
		c.Leak = Course{}
	case o.oneHead && o.ranked == s.moment.At.SinceBoot && o.ranking.Leak.Known():
		more = c.Leak.add(run, o.ranking.Leak.Middle) || more
	}
	if more {
		o.trends = c.trends(o.trends[:0])
		s.growth()
	}
}

// trend is that of an indicator; false while there is none.
func (o *observer) trend(indicator string) (IndicatorTrend, bool) {
	for _, t := range o.trends {
		if t.Indicator == indicator {
			return t, true
		}
	}
	return IndicatorTrend{}, false
}

// growth journals once for each finding that its leak grows.
func (s *State) growth() {
	t, ok := s.observer.trend(LeakCourse)
	if s.Observed.Grows = s.Observed.Grows && ok; s.Observed.Grows || !ok || !t.Clear || t.Slope <= 0 {
		return
	}
	s.Observed.Grows = true
	s.record("finding_grows", "", s.observer.grown(LeakCourse)...)
	s.happened[len(s.happened)-1].Causes = s.observer.causes()
}

// grown tells how fast indicators get worse, for alerts; nothing of what is not
// clear.
func (o *observer) grown(indicators ...string) (list []alarm.Evidence) {
	for _, name := range indicators {
		t, ok := o.trend(name)
		if !ok || !t.Clear || (t.Slope > 0) != (t.Limit > t.First) {
			continue
		}
		keys := grownKeys[name]
		for i, share := range [...]float64{t.First, t.Last} {
			list = append(list, alarm.Evidence{Key: keys[i], Quantity: alarm.Quantity{Value: max(share, 0), Dimension: quantity.Share}})
		}
		list = append(list, seconds(keys[2], time.Duration(t.Days*24*float64(time.Hour))))
	}
	return list
}

// grownKeys are the evidence of a trend: from, to, within what running.
var grownKeys = map[string][3]string{
	LeakCourse:       {"leak_began_at", "leak_grown_to", "leak_grown_in"},
	EfficiencyCourse: {"efficiency_began_at", "efficiency_gone_to", "efficiency_gone_in"},
}
