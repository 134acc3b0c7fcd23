package alarm

import (
	"strings"
	"testing"
	"unicode/utf8"

	"pgregory.net/rapid"

	"pumpside/drivers"
	"pumpside/drivers/quantity"
)

func TestFill(t *testing.T) {
	facts := func(token string) (string, bool) {
		words, ok := map[string]string{"value": "3 A", "duration": "4 min"}[token]
		return words, ok
	}
	tests := []struct{ name, template, want string }{
		{"nothing to fill", "pump stopped", "pump stopped"},
		{"a fact", "current {value}", "current 3 A"},
		{"an optional part with its fact", "no flow[ {duration}]", "no flow 4 min"},
		{"an optional part without", "no flow[ {lasted}], look", "no flow, look"},
		{"an optional part needs all its facts", "x[ {value} of {limit}] y", "x y"},
		{"words instead", "flow {limit|low}", "flow low"},
		{"words instead keep an optional part", "x[ {limit|some}]", "x some"},
		{"a missing fact is said", "current {limit}", "current not known"},
		{"spaces close up", "a {limit|} b", "a b"},
	}
	for _, tt := range tests {
		if got := fill(tt.template, facts); got != tt.want {
			t.Errorf("%s: %q, want %q", tt.name, got, tt.want)
		}
	}
	if got := shorterTemplate("a[ {b}][ {c}]"); got != "a[ {b}]" {
		t.Errorf("shorter: %q", got)
	}
	if got := shorterTemplate("a"); got != "a" {
		t.Errorf("nothing to shorten: %q", got)
	}
}

// Whatever an event holds, it can be told, its headline fits, and the safety
// text stands before anything hands-on.
func TestAnythingCanBeRendered(t *testing.T) {
	keys := append(Keys(), "", "no_such_key")
	rapid.Check(t, func(t *rapid.T) {
		text := rapid.SampledFrom([]string{"", "x", "Ridge Site", "Größe 7", strings.Repeat("long ", 40)})
		q := func(name string) *Quantity {
			if rapid.Bool().Draw(t, name+" missing") {
				return nil
			}
			return &Quantity{rapid.Float64().Draw(t, name), quantity.Dimension(rapid.IntRange(0, int(quantity.Mass)).Draw(t, name+" dimension"))}
		}
		e := Event{
			Kind: Kind(rapid.IntRange(0, int(Escalated)).Draw(t, "kind")), Text: rapid.SampledFrom(keys).Draw(t, "key"), Alarm: text.Draw(t, "alarm"),
			Class: Class(rapid.IntRange(0, 2).Draw(t, "class")), Priority: Priority(rapid.IntRange(0, 2).Draw(t, "priority")), State: State(rapid.IntRange(0, 5).Draw(t, "state")),
			Signal: drivers.Signal(rapid.IntRange(0, 80).Draw(t, "signal")), Subject: text.Draw(t, "subject"), Value: q("value"), Limit: q("limit"),
			Reason: drivers.Reason(rapid.IntRange(0, 20).Draw(t, "reason")), Standby: text.Draw(t, "standby"), User: text.Draw(t, "user"), Comment: text.Draw(t, "comment"),
			SuppressedBy: Logic(rapid.IntRange(0, 63).Draw(t, "logic")), ShelvedNow: rapid.Bool().Draw(t, "shelved"),
		}
		site := Site{Name: text.Draw(t, "site"), Group: text.Draw(t, "group"), Pump: text.Draw(t, "pump"), DriveFault: text.Draw(t, "fault"), Units: Units(rapid.IntRange(0, 1).Draw(t, "units"))}
		m := Render(e, site)
		if n := utf8.RuneCountInString(m.Headline); n == 0 || n > HeadlineMost {
			t.Fatalf("headline of %d characters: %q", n, m.Headline)
		}
		touched := false
		for i, a := range m.Actions {
			if a.Hands == On && !touched && (i == 0 || m.Actions[i-1] != Action{Safety, Before}) {
				t.Fatalf("no safety text before %q", a.Text)
			}
			touched = touched || a.Hands == On
			if touched && a.Hands == Off {
				t.Fatalf("%q comes after something hands-on", a.Text)
			}
		}
	})
}
