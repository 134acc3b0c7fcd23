package drivers_test

import (
	"testing"
	"time"

	"pumpside/drivers"
)

func TestEverySignalHasANameAndAMetric(t *testing.T) {
	seen := map[string]bool{}
	for s := drivers.NoSignal + 1; s < drivers.SignalCount; s++ {
		info := s.Info()
		if info.Name == "" || info.Metric == "" || info.Help == "" {
			t.Errorf("signal %d has an empty row: %+v", s, info)
		}
		if seen[info.Name] || seen[info.Metric] && info.Name != info.Metric {
			t.Errorf("%s: name or metric used twice", info.Name)
		}
		seen[info.Name], seen[info.Metric] = true, true
		if back, ok := drivers.SignalNamed(info.Name); !ok || back != s {
			t.Errorf("SignalNamed(%q) = %v, %v", info.Name, back, ok)
		}
	}
	if _, ok := drivers.SignalNamed("no_such_signal"); ok {
		t.Error("an unknown name finds a signal")
	}
}

func TestReasonsAndQualitiesComeBackFromText(t *testing.T) {
	for r := range drivers.ReasonCount {
		var back drivers.Reason
		if err := back.UnmarshalText([]byte(r.String())); err != nil || back != r {
			t.Errorf("reason %d: back %v, %v", r, back, err)
		}
	}
	var q drivers.Quality
	if err := q.UnmarshalText([]byte("fine")); err == nil || err.Error() != `"fine" is not a quality` {
		t.Errorf("error = %v", err)
	}
}

func TestInstantSince(t *testing.T) {
	noon := time.Date(2026, 3, 1, 12, 0, 0, 0, time.UTC)
	at := func(boot string, since time.Duration, wall time.Time, sync bool) drivers.Instant {
		return drivers.Instant{Wall: wall, Boot: boot, SinceBoot: since, Synchronized: sync}
	}
	tests := []struct {
		name    string
		a, b    drivers.Instant
		elapsed time.Duration
		known   bool
	}{
		{"one boot: the wall clock may jump", at("a", time.Minute, noon, true), at("a", 3*time.Minute, noon.Add(-50*365*24*time.Hour), false), 2 * time.Minute, true},
		{"two boots with good clocks", at("a", time.Hour, noon, true), at("b", time.Second, noon.Add(90*time.Minute), true), 90 * time.Minute, true},
		{"two boots, the second without a clock", at("a", time.Hour, noon, true), at("b", time.Second, time.Unix(5, 0), false), 0, false},
		{"two boots and the clock went back", at("a", time.Hour, noon, true), at("b", time.Second, noon.Add(-time.Minute), true), 0, false},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			elapsed, known := tt.b.Since(tt.a)
			if elapsed != tt.elapsed || known != tt.known {
				t.Errorf("Since = %v, %v; want %v, %v", elapsed, known, tt.elapsed, tt.known)
			}
		})
	}
}
