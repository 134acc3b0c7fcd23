package rules_test

import (
	"slices"
	"testing"
	"time"

	"pumpside/drivers"
)

// A tank swings by some per cent in ten minutes; one low sample at the moment
// the reference was taken made a rise of it.
func TestOneLowSampleOfTheLevelIsNoReference(t *testing.T) {
	r := newRig(t, nil)
	stand(r)
	r.values[drivers.GlycolLevel] = 0.47 // stands out by 3 % below what follows
	r.pass(61 * time.Second)
	r.values[drivers.GlycolLevel] = 0.50
	for range 9 * 60 {
		r.values[drivers.GlycolLevel] += 0.027 / 600
		r.step()
	}
	if got := names(r.events); slices.Contains(got, "raised reverse_flow") {
		t.Errorf("events %v", got)
	}
	r.pass(4 * time.Minute)
	r.values[drivers.GlycolLevel] += 0.08
	r.pass(2 * time.Minute)
	if got := names(r.events); !slices.Contains(got, "raised reverse_flow") {
		t.Errorf("a tank that rises by 8 %%: %v", got)
	}
}

// A totaliser that is zeroed or replaced beside a standing pump has run back by
// more than can flow: it called for hours.
func TestTotaliserThatFellByMoreThanCanFlowIsNoBackFlow(t *testing.T) {
	tests := []struct {
		name  string
		total float64 // cubic metres, before
		then  func(r *rig)
		calls bool
	}{
		{"zeroed", 1234.5, func(r *rig) { r.values[drivers.GlycolVolume] = 0 }, false},
		{"zeroed soon after it was zeroed", 0.05, func(r *rig) { r.values[drivers.GlycolVolume] = 0 }, false},
		{"replaced by one that shows less", 1234.5, func(r *rig) { r.values[drivers.GlycolVolume] = 1000 }, false},
		{"zeroed while it could not be read for a minute", 1234.5, func(r *rig) {
			r.bad[drivers.GlycolVolume] = drivers.Timeout
			r.pass(time.Minute)
			delete(r.bad, drivers.GlycolVolume)
			r.values[drivers.GlycolVolume] = 0
		}, false},
		{"runs back by 2 L a minute", 1234.5, func(r *rig) {
			for range 120 {
				r.values[drivers.GlycolVolume] -= 2e-3 / 60
				r.step()
			}
		}, true},
		{"runs back by one step of 100 L", 1234.5, func(r *rig) { r.values[drivers.GlycolVolume] -= 0.1 }, true},
		{"zeroed, and runs back after that", 1234.5, func(r *rig) {
			r.values[drivers.GlycolVolume] = 0
			r.pass(time.Minute)
			r.values[drivers.GlycolVolume] = -0.005
		}, true},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			r := newRig(t, nil)
			r.values[drivers.GlycolVolume] = tt.total
			r.pass(5 * time.Minute)
			stand(r)
			r.pass(5 * time.Minute)
			tt.then(r)
			r.pass(3 * time.Minute)
			if got := names(r.events); slices.Contains(got, "raised reverse_flow") != tt.calls {
				t.Errorf("events %v", got)
			}
		})
	}
}
