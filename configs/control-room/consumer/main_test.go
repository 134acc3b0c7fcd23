package main

import (
	"os"
	"strings"
	"testing"
)

func TestFollowerDropsRepeatsAndNoticesGaps(t *testing.T) {
	f := follower{}
	for _, tt := range []struct {
		name  string
		event event
		want  string
	}{
		{"the first one is new whatever its number", event{StreamID: "a", Site: "s", Pump: "gp-1", Seq: 7, Headline: "one"}, "one\n"},
		{"the next one", event{StreamID: "a", Site: "s", Pump: "gp-1", Seq: 8, Headline: "two"}, "two\n"},
		{"the same one again, after a crash", event{StreamID: "a", Site: "s", Pump: "gp-1", Seq: 8, Headline: "two"}, ""},
		{"an older one again", event{StreamID: "a", Site: "s", Pump: "gp-1", Seq: 7, Headline: "one"}, ""},
		{"two are missing", event{StreamID: "a", Site: "s", Pump: "gp-1", Seq: 11, Headline: "five"}, "2 event(s) of s gp-1 before seq 11 never came (1000 or more: an unclean stop, and nobody knows)\nfive\n"},
		{"a thousand are left out after a power cut", event{StreamID: "a", Site: "s", Pump: "gp-1", Seq: 1012, Headline: "six"}, "1000 event(s) of s gp-1 before seq 1012 never came (1000 or more: an unclean stop, and nobody knows)\nsix\n"},
		{"another pump counts for itself", event{StreamID: "a", Site: "s", Pump: "gp-2", Seq: 1, Headline: "other"}, "other\n"},
		{"so does the site", event{StreamID: "a", Site: "s", Seq: 1, Headline: "site"}, "site\n"},
		{"a restored state file begins a stream of its own", event{StreamID: "b", Site: "s", Pump: "gp-1", Seq: 2, Headline: "anew"}, "anew\n"},
	} {
		if got := f.take(tt.event); got != tt.want {
			t.Errorf("%s: %q, want %q", tt.name, got, tt.want)
		}
	}
}

// An example that is to be read at one look.
func TestTheExampleHasFiftyLines(t *testing.T) {
	text, err := os.ReadFile("main.go")
	if err != nil {
		t.Fatal(err)
	}
	if n := strings.Count(string(text), "\n"); n > 50 {
		t.Errorf("%d lines, want 50 at most", n)
	}
}
