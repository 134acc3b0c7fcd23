package main

import "testing"

func TestFollowerDropsRepeatsAndNoticesGaps(t *testing.T) {
	f := follower{}
	for _, tt := range []struct {
		name    string
		event   event
		isNew   bool
		missing uint64
	}{
		{"the first one is new whatever its number", event{StreamID: "a", Site: "s", Pump: "gp-1", Seq: 7}, true, 0},
		{"the next one", event{StreamID: "a", Site: "s", Pump: "gp-1", Seq: 8}, true, 0},
		{"the same one again, after a crash", event{StreamID: "a", Site: "s", Pump: "gp-1", Seq: 8}, false, 0},
		{"an older one again", event{StreamID: "a", Site: "s", Pump: "gp-1", Seq: 7}, false, 0},
		{"two are missing", event{StreamID: "a", Site: "s", Pump: "gp-1", Seq: 11}, true, 2},
		{"another pump counts for itself", event{StreamID: "a", Site: "s", Pump: "gp-2", Seq: 1}, true, 0},
		{"so does the site", event{StreamID: "a", Site: "s", Seq: 1}, true, 0},
		{"a restored state file begins a stream of its own", event{StreamID: "b", Site: "s", Pump: "gp-1", Seq: 2}, true, 0},
	} {
		if isNew, missing := f.take(tt.event); isNew != tt.isNew || missing != tt.missing {
			t.Errorf("%s: new %v with %d missing, want %v with %d", tt.name, isNew, missing, tt.isNew, tt.missing)
		}
	}
}
