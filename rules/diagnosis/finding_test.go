package diagnosis

import (
	"testing"
	"time"

	"pumpside/drivers"
)

// A visit is advised after six hours, or the third time in seven days (common
// practice, no source).
func TestWhenAVisitIsAdvised(t *testing.T) {
	for _, tt := range []struct {
		name string
		// hours found, hours well, and so on
		hours []float64
		want  bool
	}{
		{"found for five hours", []float64{5}, false},
		{"found for six hours", []float64{6.1}, true},
		{"twice, an hour each", []float64{1, 10, 1}, false},
		{"three times in two days", []float64{1, 20, 1, 20, 1}, true},
		{"three times in nine days", []float64{1, 100, 1, 110, 1}, false},
		{"gone", []float64{7, 1.1}, false},
		{"three times in ten minutes", []float64{0.05, 0.05, 0.05, 0.05, 0.05}, false},
		{"six hours with short breaks", []float64{2, 0.5, 2, 0.5, 2.2}, true},
	} {
		var p Persistence
		at, visit := drivers.Instant{Boot: "a"}, false
		for i, h := range tt.hours {
			for range int(h * 60) {
				visit = p.Judge(at, i%2 == 0)
				at.SinceBoot += time.Minute
			}
		}
		if visit != tt.want {
			t.Errorf("%s: visit %v", tt.name, visit)
		}
	}
}

func TestTimeThatWasNotJudgedDoesNotCount(t *testing.T) {
	var p Persistence
	at := drivers.Instant{Boot: "a"}
	p.Judge(at, true)
	at.SinceBoot += 8 * time.Hour
	if p.Judge(at, true) {
		t.Error("eight hours of standing still advise a visit")
	}
}

// Of a pump that runs two minutes in twenty only those count.
func TestOfAPumpThatCyclesOnlyTheRunsCount(t *testing.T) {
	var p Persistence
	at := drivers.Instant{Boot: "a"}
	for range 100 {
		for range 12 {
			p.Judge(at, true)
			at.SinceBoot += 10 * time.Second
		}
		at.SinceBoot += 18 * time.Minute
	}
	if want := 100 * 110 * time.Second; p.Stood != want {
		t.Errorf("stood %v, want %v", p.Stood, want)
	}
}
