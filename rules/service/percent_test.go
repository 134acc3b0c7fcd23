package service_test

import (
	"testing"

	"pumpside/rules/service"
)

func TestNothingReadsAHundredPercentBeforeItIsDue(t *testing.T) {
	for used, want := range map[float64]float64{0: 0, 0.29: 29, 0.994: 99, 0.9999: 99, 1: 100, 1.004: 100, 1.006: 101} {
		if got := service.Percent(used); got != want {
			t.Errorf("%v used reads %v %%, want %v", used, got, want)
		}
	}
}
