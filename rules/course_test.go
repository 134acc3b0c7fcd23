package rules

import (
	"math"
	"testing"
	"time"

	"pumpside/rules/alarm"
)

// A leak that grows by a third of a percent a day is told after three days of
// running, not before, and in the words of a technician.
func TestCourseOfALeakIsToldAfterThreeDays(t *testing.T) {
	var c Course
	const perDay = 0.0033
	for minute := range 9 * 24 * 60 {
		run := 5000*time.Hour + time.Duration(minute)*time.Minute
		days := float64(minute) / (24 * 60)
		scatter := 0.002 * math.Sin(float64(minute*minute%977)) // deterministic, of no trend
		if !c.add(run, 0.04+perDay*days+scatter) {
			continue
		}
		if got, ok := c.trend(LeakCourse, 0.3); ok && got.Clear && got.Days < 3 {
			t.Fatalf("clear after %.1f days", got.Days)
		}
	}
	got, _ := c.trend(LeakCourse, 0.3)
	if !got.Clear || got.Points != 35 {
		t.Errorf("%+v, want a clear trend of 35 points", got)
	}
	if math.Abs(got.Slope-perDay) > 0.05*perDay || got.Low > perDay || got.High < perDay {
		t.Errorf("slope %.5f (%.5f to %.5f), want %.5f", got.Slope, got.Low, got.High, perDay)
	}
	o := observer{trends: []IndicatorTrend{got}}
	e := alarm.Event{Kind: alarm.Raised, Text: "loss_in_one_head", Class: alarm.Advisory, State: alarm.Unacknowledged, Evidence: o.grown(LeakCourse, EfficiencyCourse)}
	want := "leak grown from 4 % to 7 % of one head's flow in 9 days of running"
	if lines := alarm.Render(e, alarm.Site{Pump: "gp-1"}).Evidence; len(lines) != 1 || lines[0] != want {
		t.Errorf("evidence %q, want %q", lines, want)
	}
}

// An efficiency that gets better is no evidence of wear; a level one has no
// clear trend.
func TestOnlyWhatGetsWorseIsEvidence(t *testing.T) {
	for _, tt := range []struct {
		name   string
		perDay float64
		want   int // facts told
	}{
		{"falls by half a percent a day", -0.005, 3},
		{"stays", 0, 0},
		{"recovers", 0.005, 0},
	} {
		var c Course
		for minute := range 6 * 24 * 60 {
			c.add(time.Duration(minute)*time.Minute, 0.97+tt.perDay*float64(minute)/1440+0.003*math.Sin(float64(minute*minute%1009)))
		}
		trend, ok := c.trend(EfficiencyCourse, efficiencyWorse)
		if !ok {
			t.Fatalf("%s: no trend of %d points", tt.name, len(c.Series.Points))
		}
		o := observer{trends: []IndicatorTrend{trend}}
		if got := o.grown(EfficiencyCourse); len(got) != tt.want {
			t.Errorf("%s: told %v, want %d facts; trend %+v", tt.name, got, tt.want, trend)
		}
	}
}

// A course is bounded whatever the pump runs.
func TestCourseIsBounded(t *testing.T) {
	var c Course
	for hour := range 20 * 365 * 24 {
		c.add(time.Duration(hour)*time.Hour, 1)
	}
	if n := len(c.Series.Points); n >= 64 || n < 32 {
		t.Errorf("%d points after twenty years of running, want 32 to 63", n)
	}
}
