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
