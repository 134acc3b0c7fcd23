package service_test

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"pumpside/drivers"
	"pumpside/rules/service"
)

// A regime makes the hours of one pump by day. They are invented, after what
// glycol pumps do: run through but for outages, work by day, follow the
// season, follow demand that wanders, take turns with a standby.
type regime struct {
	name  string
	hours func(r *rand.Rand, days int) []float64
}

var regimes = []regime{
	{"continuous with outages", continuous},
	{"weekdays", weekdays},
	{"seasonal", seasonal},
	{"wandering demand", wandering},
	{"lead and standby", turns},
	{"weekdays and season", func(r *rand.Rand, days int) []float64 {
		week, year := weekdays(r, days), seasonal(r, days)
		for i := range week {
			week[i] *= year[i] / 24
		}
		return week
	}},
}

func hoursOf(x float64) float64 { return math.Max(0, math.Min(24, x)) }

func continuous(r *rand.Rand, days int) []float64 {
	hours, out := make([]float64, days), 0
	rate := 0.005 + 0.02*r.Float64()
	for i := range hours {
		if out == 0 && r.Float64() < rate {
			out = 1 + r.IntN(6)
		}
		if hours[i] = 24; out > 0 {
			hours[i] = 0
			out--
		}
	}
	return hours
}

func weekdays(r *rand.Rand, days int) []float64 {
	hours, day := make([]float64, days), 6+10*r.Float64()
	for i := range hours {
		if i%7 < 5 && r.Float64() > 0.05 {
			hours[i] = hoursOf(day + 2*r.NormFloat64())
		}
	}
	return hours
}

func seasonal(r *rand.Rand, days int) []float64 {
	hours, phase, mean, swing := make([]float64, days), 2*math.Pi*r.Float64(), 9+6*r.Float64(), 0.3+0.5*r.Float64()
	slow := 0.0
	for i := range hours {
		slow = 0.97*slow + 0.04*r.NormFloat64()
		hours[i] = hoursOf(mean * (1 + swing*math.Sin(2*math.Pi*float64(i)/365.25+phase)) * math.Exp(slow) * (1 + 0.15*r.NormFloat64()))
	}
	return hours
}

func wandering(r *rand.Rand, days int) []float64 {
	hours, level, fast := make([]float64, days), math.Log(6+10*r.Float64()), 0.0
	home := level
	for i := range hours {
		level += 0.01*(home-level)/3 + 0.02*r.NormFloat64()
		fast = 0.8*fast + 0.15*r.NormFloat64()
		hours[i] = hoursOf(math.Exp(level + fast))
	}
	return hours
}

func turns(r *rand.Rand, days int) []float64 {
	hours, on, left, turn := make([]float64, days), true, 0, 7+r.IntN(15)
	day := 12 + 12*r.Float64()
	for i := range hours {
		if left == 0 {
			on, left = !on, turn+r.IntN(5)-2
		}
		left--
		if on {
			hours[i] = hoursOf(day + r.NormFloat64())
		}
	}
	return hours
}

// A trial is one forecast against what came.
type trial struct {
	regime string
	inside bool
	early  bool    // came before the band
	error  float64 // of the median: share of the time it took
}

const dayLength = 24 * time.Hour

// try forecasts from day on when left hours more will have been run.
func try(hours []float64, day int, left float64) (inside, early bool, relative float64, ok bool) {
	epoch := time.Date(2020, 1, 6, 0, 0, 0, 0, time.UTC) // a Monday
	var d service.Duty
	var totals service.Totals
	for i := max(day-800, 0); ; i++ {
		d.Step(drivers.Instant{Wall: epoch.Add(time.Duration(i) * dayLength), Synchronized: true}, &totals)
		if i == day {
			break
		}
		totals.RunTime += time.Duration(hours[i] * float64(time.Hour))
		totals.Strokes += hours[i] * 18_000
	}
	now := drivers.Instant{Wall: epoch.Add(time.Duration(day) * dayLength), Boot: "b", Synchronized: true}
	task := service.Task{Name: "oil", RunTime: totals.RunTime + time.Duration(left*float64(time.Hour))}
	f := service.NewOutlook(&d, now).Reach(&task, &service.Done{Count: 1}, &totals, 1)
	if f.Why != "" || f.Late.IsZero() {
		return false, false, 0, false
	}
	took := 0.0
	for i := day; ; i++ {
		if i == len(hours) {
			return false, false, 0, false
		}
		if left <= hours[i] {
			took += left / hours[i]
			break
		}
		left -= hours[i]
		took++
	}
	truth := now.Wall.Add(time.Duration(took * float64(dayLength)))
	inside = !truth.Before(f.Early) && !truth.After(f.Late)
	return inside, truth.Before(f.Early), math.Abs(f.Median.Sub(truth).Hours()/24) / math.Max(took, 1), true
}

// TestForecastsHold backtests on simulated duty of other pumps than those the
// settings of the pace were found on: 10 to 90 % must hold the truth in about
// four of five cases.
func TestForecastsHold(t *testing.T) {
	const pumps, days = 300, 7 * 365 // 2100 pump-years
	r := rand.New(rand.NewPCG(41, 1))
	var all []trial
	for n := range pumps {
		g := regimes[n%len(regimes)]
		hours := g.hours(r, days)
		for range 6 {
			day := 60 + r.IntN(900)
			mean := 0.0
			for _, h := range hours {
				mean += h / days
			}
			left := mean * math.Exp(math.Log(10)+r.Float64()*math.Log(45)) // 10 to 450 days of it
			inside, early, relative, ok := try(hours, day, left)
			if ok {
				all = append(all, trial{g.name, inside, early, relative})
			}
		}
	}
	for _, g := range append(regimes, regime{name: ""}) {
		in, early, errors := 0, 0, []float64{}
		for _, one := range all {
			if g.name == "" || one.regime == g.name {
				errors = append(errors, one.error)
				if one.inside {
					in++
				} else if one.early {
					early++
				}
			}
		}
		slices.Sort(errors)
		share := float64(in) / float64(len(errors))
		t.Logf("%-25s %4d forecasts, %.0f %% inside, %.0f %% earlier, median error %.1f %% of the time", orAll(g.name), len(errors), 100*share, 100*float64(early)/float64(len(errors)), 100*errors[len(errors)/2])
		if g.name == "" && (share < 0.75 || share > 0.85) {
			t.Errorf("%.1f %% of the truths are inside the 10 to 90 %% band, want 75 to 85", 100*share)
		}
	}
}

func orAll(name string) string {
	if name == "" {
		return "all"
	}
	return name
}

// benchDuty is two years of a pump that works on weekdays.
func benchDuty() (*service.Duty, drivers.Instant, service.Totals) {
	r := rand.New(rand.NewPCG(1, 1))
	var d service.Duty
	var totals service.Totals
	var now drivers.Instant
	for i, h := range weekdays(r, 800) {
		now = drivers.Instant{Wall: spring.Add(time.Duration(i) * dayLength), Boot: "b", Synchronized: true}
		d.Step(now, &totals)
		totals.RunTime += time.Duration(h * float64(time.Hour))
		totals.Strokes += h * 18_000
	}
	return &d, now, totals
}

func BenchmarkOutlook(b *testing.B) {
	d, now, _ := benchDuty()
	b.ReportAllocs()
	for b.Loop() {
		service.NewOutlook(d, now)
	}
}

func BenchmarkReach(b *testing.B) {
	d, now, totals := benchDuty()
	o, task := service.NewOutlook(d, now), service.Task{RunTime: totals.RunTime + 1000*time.Hour, Strokes: 1e9, Calendar: 1e6 * time.Hour}
	b.ReportAllocs()
	for b.Loop() {
		o.Reach(&task, &service.Done{Since: now}, &totals, 1)
	}
}
