package rules_test

import (
	"testing"
	"time"
)

func TestMarksTellWhatAnHourAndADayAdded(t *testing.T) {
	r := newRig(t, nil)
	snap := r.state.Snapshot(r.set)
	if _, ok := snap.Since(noon); ok {
		t.Error("a pump never stepped has a mark")
	}
	for hour := range 30 {
		if hour == 20 {
			stand(r)
		}
		for range 360 {
			r.step()
			r.at.SinceBoot += 9 * time.Second
			r.at.Wall = r.at.Wall.Add(9 * time.Second)
		}
	}
	snap = r.state.Snapshot(r.set)
	for _, tt := range []struct {
		name string
		ago  time.Duration
		run  float64 // hours since
		at   time.Duration
	}{
		{"the last ten hours it stood", 10 * time.Hour, 0, 10 * time.Hour},
		{"two hours before it still ran", 12 * time.Hour, 2, 12 * time.Hour},
		{"between two marks the one before", 90 * time.Minute, 0, 2 * time.Hour},
		{"a day and an hour", 25 * time.Hour, 15, 25 * time.Hour},
		{"more than that: the mark of the day", 26 * time.Hour, 20, 30 * time.Hour},
		{"before the first: the oldest there is", 90 * time.Hour, 20, 30 * time.Hour},
	} {
		m, ok := snap.Since(r.at.Wall.Add(-tt.ago))
		run := snap.Totals.RunSeconds/3600 - m.Run.Hours()
		at := r.at.Wall.Sub(m.At.Wall)
		if !ok || run < tt.run-0.02 || run > tt.run+0.02 || at < tt.at-time.Minute || at > tt.at+time.Minute {
			t.Errorf("%s: %.2f h of running since %v ago (%v), want %v h since %v", tt.name, run, at, ok, tt.run, tt.at)
		}
	}
}
