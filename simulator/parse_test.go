package simulator_test

import (
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"pumpside/simulator"
)

func TestParseStep(t *testing.T) {
	tests := []struct {
		text string
		want simulator.Step
	}{
		{"90s skid 1 suction valve leak, cylinder 2, size 0.1, over 10m", simulator.Step{Event: simulator.Event{At: 90 * time.Second, Do: simulator.SuctionValveLeak, Cylinder: 1, Size: 0.1, Onset: 10 * time.Minute}}},
		{"2m skid 2 device silent, device instruments", simulator.Step{Skid: 1, Event: simulator.Event{At: 2 * time.Minute, Do: simulator.DeviceSilent, Device: simulator.Instruments}}},
		{"0s skid 1 stop", simulator.Step{Event: simulator.Event{Do: simulator.Stop}}},
		{"5s skid 1 suction closed", simulator.Step{Event: simulator.Event{At: 5 * time.Second, Do: simulator.SuctionClosed, Size: 1}}},
		{"5s skid 1 signal frozen, signal discharge_pressure", simulator.Step{Event: simulator.Event{At: 5 * time.Second, Do: simulator.Frozen, Signal: "discharge_pressure", Size: 1}}},
	}
	for _, tt := range tests {
		t.Run(tt.text, func(t *testing.T) {
			got, err := simulator.ParseStep(tt.text)
			if err != nil {
				t.Fatal(err)
			}
			if diff := cmp.Diff(tt.want, got); diff != "" {
				t.Errorf("step (-want +got)\n%s", diff)
			}
		})
	}
}

func TestParseStepSaysWhatIsWrong(t *testing.T) {
	tests := []struct{ text, want string }{
		{"stop", `"stop" is not a step; write it like "90s skid 1 suction valve leak, cylinder 2, size 0.1, over 10m"`},
		{"soon skid 1 stop", `step "soon skid 1 stop": "soon" is not a time such as 90s`},
		{"1s skid 0 stop", `step "1s skid 0 stop": skid "0"; count from 1`},
		{"1s skid 1 small head, cylinder 4", "small head: cylinder 4 of 3"},
		{"1s skid 1 stop, colour red", `step "1s skid 1 stop, colour red": unknown key "colour"; one of cylinder, size, over, signal, device`},
		{"1s skid 1 device silent, device valve", `step "1s skid 1 device silent, device valve": device "valve": one of drive, instruments`},
	}
	for _, tt := range tests {
		t.Run(tt.text, func(t *testing.T) {
			_, err := simulator.ParseStep(tt.text)
			if err == nil || err.Error() != tt.want {
				t.Errorf("error %v\n want %s", err, tt.want)
			}
		})
	}
}

func TestAScenarioIsScheduledWholeOrNotAtAll(t *testing.T) {
	k := newSkid(t, running)
	bad := simulator.Scenario{
		{Event: simulator.Event{Do: simulator.Stop}},
		{Skid: 1, Event: simulator.Event{Do: simulator.Stop}},
	}
	if err := bad.Apply([]*simulator.Skid{k}); err == nil || err.Error() != "step 1: skid 1 of 1" {
		t.Errorf("error %v, want step 1: skid 1 of 1", err)
	}
	k.Advance(30 * time.Second)
	if !k.Truth().Running {
		t.Error("a step of a refused scenario was carried out")
	}
}
