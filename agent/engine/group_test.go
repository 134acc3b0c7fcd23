package engine_test

import (
	"testing"

	"pumpside/agent/engine"
	"pumpside/rules"
	"pumpside/rules/alarm"
)

func TestWhatAPumpTellsTheSite(t *testing.T) {
	tests := []struct {
		name            string
		o               rules.Operation
		unseen, faulted bool
	}{
		{"nothing is known of it", rules.Operation{}, true, false},
		{"it runs", rules.Operation{Mode: rules.Running, Running: alarm.Yes}, false, false},
		{"its drive is not read, and glycol flows", rules.Operation{Delivering: alarm.Yes}, false, false},
		{"nobody asks for it", rules.Operation{Wanted: alarm.No}, false, false},
		{"its power is lost, which has a message of its own", rules.Operation{Power: alarm.No}, false, false},
		{"its drive has tripped", rules.Operation{Mode: rules.Faulted, Running: alarm.No, Delivering: alarm.No}, false, true},
	}
	for _, tt := range tests {
		if p := engine.PartOf(&tt.o, 0, nil); p.Unseen != tt.unseen || p.Faulted != tt.faulted {
			t.Errorf("%s: unseen %v, faulted %v; want %v, %v", tt.name, p.Unseen, p.Faulted, tt.unseen, tt.faulted)
		}
	}
}
