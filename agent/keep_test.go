package main

import (
	"encoding/json"
	"math"
	"testing"

	"pumpside/rules/alarm"
)

func TestAnEventIsKeptWithoutEvidenceThatIsNoNumber(t *testing.T) {
	e := alarm.Event{Seq: 7, Alarm: "circulation_low", Evidence: []alarm.Evidence{{Key: "circulation_needed", Quantity: alarm.Quantity{Value: math.NaN()}}}}
	var got alarm.Event
	if err := json.Unmarshal(entryOf("north", &e).Body, &got); err != nil || got.Seq != 7 || got.Alarm != e.Alarm || got.Evidence != nil {
		t.Errorf("kept %+v, %v", got, err)
	}
}
