package service_test

import (
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"pumpside/drivers"
	"pumpside/rules/service"
)

// steady is 60 days of a pump that ran 12 h each, at noon of the day after.
func steady(days int) (*service.Duty, drivers.Instant, service.Totals) {
	var d service.Duty
	totals := service.Totals{RunTime: 5000 * time.Hour, Strokes: 90e6, WarmTime: 10_000 * time.Hour, Worn: 45e6}
	for i := range days {
		d.Step(at(spring.AddDate(0, 0, i), true), &totals)
		totals.RunTime += 12 * time.Hour
		totals.Strokes += 216_000
		totals.WarmTime += 24 * time.Hour
		totals.Worn += 108_000
	}
	now := at(spring.AddDate(0, 0, days), true)
	d.Step(now, &totals)
	return &d, now, totals
}

func TestForecastOfASteadyPump(t *testing.T) {
	d, now, totals := steady(60)
	in := func(days float64) time.Time { return now.Wall.Add(time.Duration(days * 24 * float64(time.Hour))) }
	tests := []struct {
		name string
		task service.Task
		want time.Time
		by   service.Measure
	}{
		{"120 h at 12 h a day are 10 days", service.Task{RunTime: totals.RunTime + 120*time.Hour}, in(10), service.ByRunTime},
		{"so are 2.16 million strokes", service.Task{Strokes: totals.Strokes + 2.16e6}, in(10), service.ByStrokes},
		{"oil that ages twice as fast takes half", service.Task{RunTime: totals.WarmTime + 120*time.Hour, Warm: service.Warm{Base: 60, Step: 10}}, in(5), service.ByWarmTime},
		{"strokes at half the wear take twice", service.Task{Strokes: totals.Worn + 1.08e6, Pressure: service.Pressure{Reference: 1e7, Exponent: 1}}, in(10), service.ByWorn},
		{"the calendar decides when it is sooner", service.Task{RunTime: totals.RunTime + 1200*time.Hour, Calendar: 68 * 24 * time.Hour}, in(8), service.ByCalendar},
		{"what is due is due now", service.Task{RunTime: totals.RunTime}, now.Wall, service.ByRunTime},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			f := service.NewOutlook(d, now).Reach(&tt.task, &service.Done{Since: at(spring, true)}, &totals, 1)
			if off := f.Median.Sub(tt.want); off < -10*time.Minute || off > 10*time.Minute || f.By != tt.by || f.Why != "" {
				t.Errorf("forecast %+v, want %v by %s", f, tt.want, tt.by)
			}
			if f.Early.After(f.Median) || f.Late.Before(f.Median) {
				t.Errorf("band %v to %v does not hold %v", f.Early, f.Late, f.Median)
			}
		})
	}
}

func TestNoForecastIsSaidPlainly(t *testing.T) {
	task := service.Task{RunTime: 9000 * time.Hour}
	young, now, totals := steady(20)
	old, later, run := steady(60)
	for i := range 40 { // stands for 40 days
		old.Step(at(later.Wall.AddDate(0, 0, i+1), true), &run)
	}
	unset := now
	unset.Synchronized = false
	tests := []struct {
		name string
		got  service.Forecast
		want service.Forecast
	}{
		{"20 days are too few", service.NewOutlook(young, now).Reach(&task, &service.Done{}, &totals, 1), service.Forecast{Why: service.NoHistory, Soonest: now.Wall.Add(3760 * time.Hour)}},
		{"a pump that stands has no date", service.NewOutlook(old, at(later.Wall.AddDate(0, 0, 41), true)).Reach(&task, &service.Done{}, &run, 1), service.Forecast{Why: service.Standing}},
		{"no clock", service.NewOutlook(young, unset).Reach(&task, &service.Done{}, &totals, 1), service.Forecast{Why: service.NoClock}},
		{"no interval", service.NewOutlook(young, now).Reach(&service.Task{}, &service.Done{}, &totals, 1), service.Forecast{Why: service.NoInterval}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			if d := cmp.Diff(tt.want, tt.got); d != "" {
				t.Errorf("forecast (-want +got):\n%s", d)
			}
		})
	}
}

// TestCalendarHelpsAPumpWithoutHistory: a date by the calendar needs no duty.
func TestCalendarHelpsAPumpWithoutHistory(t *testing.T) {
	d, now, totals := steady(3)
	task := service.Task{RunTime: 900_000 * time.Hour, Calendar: 365 * 24 * time.Hour}
	f := service.NewOutlook(d, now).Reach(&task, &service.Done{Since: at(spring, true)}, &totals, 1)
	if f.By != service.ByCalendar || !f.Median.Equal(spring.AddDate(1, 0, 0)) {
		t.Errorf("forecast %+v", f)
	}
}

// TestTheCalendarDoesNotHideHoursThatAreNearlyUp: without history nobody knows
// when the last hours go, and a date a year off would be a lie.
func TestTheCalendarDoesNotHideHoursThatAreNearlyUp(t *testing.T) {
	d, now, totals := steady(3)
	task := service.Task{RunTime: totals.RunTime + time.Hour, Calendar: 365 * 24 * time.Hour}
	if f := service.NewOutlook(d, now).Reach(&task, &service.Done{Since: at(spring, true)}, &totals, 1); f != (service.Forecast{Why: service.NoHistory, Soonest: now.Wall.Add(time.Hour)}) {
		t.Errorf("forecast %+v", f)
	}
}

// The pump runs 12 h a day, so that days of running take twice as long.
func TestATrendGivesTheDateOfWhatTheDiagnosisAsksFor(t *testing.T) {
	d, now, totals := steady(60)
	day := 24 * time.Hour
	in := func(days int) time.Time { return now.Wall.Add(time.Duration(days) * day) }
	asked := service.Life{Used: 1, By: service.ByCondition}
	grows := service.Course{Known: true, Early: 4 * day, Median: 6 * day, Late: 9 * day}
	tests := []struct {
		name       string
		life       service.Life
		course     service.Course
		due, ripe  time.Time
		by         service.Measure
		daysAround time.Duration
	}{
		{"without a trend it is due at once", asked, service.Course{}, now.Wall, now.Wall, service.ByCondition, 0},
		{"by the trend six days of running are twelve", asked, grows, in(12), now.Wall, service.ByCondition, time.Hour},
		{"no straight line is believed beyond 90 days", asked, service.Course{Known: true, Early: 90 * day, Median: 400 * day, Late: 900 * day}, in(90), now.Wall, service.ByCondition, 0},
		{"a trend nobody asked about comes before hours that are far off", service.Life{Used: 0.1, By: service.ByRunTime}, grows, in(12), now.Wall, service.ByCondition, time.Hour},
	}
	task := service.Task{RunTime: totals.RunTime + 1200*time.Hour, DueSoon: 0.9, Overdue: 1.1}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			w := service.NewOutlook(d, now).Window(&task, &service.Done{Since: at(spring, true)}, &totals, tt.life, tt.course)
			if off := w.Due.Median.Sub(tt.due).Abs(); off > tt.daysAround || w.Due.By != tt.by || !w.Ripe.Equal(tt.ripe) {
				t.Errorf("window %+v, want due %v, ripe %v by %s", w, tt.due, tt.ripe, tt.by)
			}
			if w.Due.Early.After(w.Due.Median) || w.Due.Late.Before(w.Due.Median) {
				t.Errorf("band %v to %v does not hold %v", w.Due.Early, w.Due.Late, w.Due.Median)
			}
		})
	}
}

// A calendar date is the latest one while nobody can tell about the hours.
func TestADateThatMayComeSoonerSaysSo(t *testing.T) {
	d, now, totals := steady(20) // too few days for a pace
	done := service.Done{Since: at(spring, true), Totals: service.Totals{RunTime: totals.RunTime - time.Hour}}
	task := service.Task{RunTime: 13 * time.Hour, Calendar: 21 * 24 * time.Hour}
	if f := service.NewOutlook(d, now).Reach(&task, &done, &totals, 1); !f.AtLatest || f.By != service.ByCalendar || !f.Soonest.Equal(now.Wall.Add(12*time.Hour)) {
		t.Errorf("12 h of running left, and a day of the calendar: %+v", f)
	}
	task.RunTime = 9000 * time.Hour
	if f := service.NewOutlook(d, now).Reach(&task, &done, &totals, 1); f.AtLatest || f.By != service.ByCalendar || !f.Soonest.IsZero() {
		t.Errorf("hours that cannot be up by then: %+v", f)
	}
	task.RunTime = 0
	if f := service.NewOutlook(d, now).Reach(&task, &done, &totals, 1); f.AtLatest || f.By != service.ByCalendar || !f.Soonest.IsZero() {
		t.Errorf("the calendar alone: %+v", f)
	}
}
