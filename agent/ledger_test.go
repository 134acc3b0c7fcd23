package main

import (
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"pumpside/drivers"
	"pumpside/rules/service"
)

func TestLedgerLinesComeBackWhole(t *testing.T) {
	hours, now := 1210.0, drivers.Instant{Wall: noon, Boot: "b", SinceBoot: time.Hour, Synchronized: true}
	yesterday := drivers.Instant{Wall: noon.AddDate(0, 0, -1), Synchronized: true}
	full := drivers.ServiceRecord{
		Pump: "gp-1", Number: 7, Entered: now, User: "d.moss", At: yesterday, RunTime: 1200 * time.Hour, Strokes: 2e7, Counted: service.FromHistory, Disputed: "x",
		WarmTime: 1300 * time.Hour, Worn: 1.9e7, Share: 0.2, Mode: "INL", Mechanism: "2.4", Believed: &drivers.ServiceBelief{Component: "suction_valve", Cylinder: 2, Probability: 0.7},
		Entry: drivers.ServiceEntry{Task: "valves", At: yesterday.Wall, Action: service.Replaced, Cylinder: 2, Side: "suction", Found: "leaking", PanelHours: &hours, Order: "W-1", Parts: []drivers.ServicePart{{Name: "valve", Quantity: 2}}},
	}
	now2 := full
	now2.At, now2.Entry.At = now, time.Time{}
	for _, want := range []drivers.ServiceRecord{full, now2} {
		row := ledgerEntry(&want)
		got, err := recordOf(&row)
		if err != nil {
			t.Fatal(err)
		}
		if d := cmp.Diff(want, got); d != "" {
			t.Errorf("record (-want +got):\n%s", d)
		}
	}
}
