package main

import (
	"strings"
	"testing"
	"time"

	"pumpside/drivers"
	"pumpside/rules/service"
)

// movedRecord is a record as another gateway exported it.
var movedRecord = drivers.ServiceRecord{
	Pump: "gp-1", Number: 4, User: "d.moss", At: drivers.Instant{Wall: noon, Boot: "b", Synchronized: true}, RunTime: 5200 * time.Hour, Strokes: 93e6,
	Entry: drivers.ServiceEntry{Task: "valves", Action: service.Replaced, Cylinder: 2, Side: "suction"},
}

func TestWhatWasTakenOverIsNotTakenOverAgain(t *testing.T) {
	e := carried(&movedRecord)
	if e.By != "d.moss" || *e.RunHours != 5200 || *e.Strokes != 93e6 || !e.At.Equal(noon) {
		t.Fatalf("carried as %+v", e)
	}
	book := pumpBook{Pump: "gp-7", RunHours: 5300}
	if book.has(e) {
		t.Error("an empty ledger has it")
	}
	arrived := movedRecord
	arrived.Pump, arrived.Number, arrived.User, arrived.Entry = "gp-7", 1, "installer", *e
	book.Ledger = []drivers.ServiceRecord{arrived}
	if !book.has(e) {
		t.Error("it would be taken over twice")
	}
	other := *e
	other.Side = "discharge"
	if book.has(&other) {
		t.Error("another valve of the same visit is left out")
	}
}

func TestRecordsThatGoFurtherThanThePumpSaySo(t *testing.T) {
	entries := []*drivers.ServiceEntry{carried(&movedRecord)}
	for _, tt := range []struct {
		hours float64
		want  string
	}{{5300, ""}, {5199.5, ""}, {12, "the records go to 5200 h, but gp-7 has 12 h here: write what it had run when it came under the pump, such as opening: {run_hours: 5200 h, strokes_per_plunger: 9.3e+07}; nothing was taken over"}} {
		err := (&pumpBook{Pump: "gp-7", RunHours: tt.hours}).reaches(entries)
		if (err == nil) != (tt.want == "") || err != nil && !strings.Contains(err.Error(), tt.want) {
			t.Errorf("%v h here: %v, want %q", tt.hours, err, tt.want)
		}
	}
}

// A record of a gateway whose clock was not set is no work of 1970.
func TestARecordWithoutADateIsNotTakenOver(t *testing.T) {
	undated := movedRecord
	undated.At = drivers.Instant{Wall: time.Unix(90, 0), Boot: "b", SinceBoot: 90 * time.Second}
	settings, _ := planned(t)
	b := serviceBook{At: noon, Pumps: []pumpBook{{Pump: "gp-1", RunHours: 5300}}}
	err := takeOver(nil, nil, settings, &b, "gp-1", []drivers.ServiceRecord{undated})
	if err == nil || !strings.HasPrefix(err.Error(), "record 4 of gp-1 has no date") {
		t.Errorf("taken over: %v", err)
	}
}

// The same rules refuse at the command line, before anything is journalled.
func TestATypingMistakeIsRefusedBeforehand(t *testing.T) {
	settings, _ := planned(t)
	b := serviceBook{At: noon, Pumps: []pumpBook{{Pump: "gp-1"}}}
	for _, tt := range []struct {
		name, pump string
		entry      drivers.ServiceEntry
		want       string
	}{
		{"no such pump", "gp-9", drivers.ServiceEntry{Task: "valves"}, `there is no pump "gp-9"`},
		{"no such task", "gp-1", drivers.ServiceEntry{Task: "valvs"}, `refused: there is no service task "valvs"`},
		{"no such cylinder", "gp-1", drivers.ServiceEntry{Task: "valves", Cylinder: 5}, "refused: there is no cylinder 5"},
		{"a time to come", "gp-1", drivers.ServiceEntry{Task: "valves", At: noon.Add(time.Hour)}, "lies in the future"},
		{"no such record", "gp-1", drivers.ServiceEntry{Undoes: 3}, "refused: there is no record 3"},
		{"a good one", "gp-1", drivers.ServiceEntry{Task: "valves", Cylinder: 2}, ""},
		{"oil without a task", "gp-1", drivers.ServiceEntry{Added: 0.5}, ""},
	} {
		err := checkEntry(settings, &b, tt.pump, &tt.entry)
		if (err == nil) != (tt.want == "") || err != nil && !strings.Contains(err.Error(), tt.want) {
			t.Errorf("%s: %v, want %q", tt.name, err, tt.want)
		}
	}
}
