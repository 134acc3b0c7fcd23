package configs

import (
	"slices"
	"strings"
	"testing"
)

func TestWholeNumbersAreDecimal(t *testing.T) {
	var f file
	d := decode("plant.yaml", []byte("site: {id: a}\nbuses: []\ndevices: [{id: d, bus: b, unit: 010, points: []}]\npumps: []\n"), &f)
	if len(d.problems) > 0 || f.Devices[0].Unit != 10 {
		t.Errorf("unit: 010 is read as %d, problems %v", f.Devices[0].Unit, d.problems)
	}
}

func TestDefaultsFillWhatIsMissing(t *testing.T) {
	var f file
	decode("plant.yaml", []byte("site: {id: a}\nbuses: [{id: b}]\ndevices: []\npumps: []\n"), &f)
	if f.Site.TimeZone != "UTC" || f.Buses[0].Timeout.String() != "500ms" || f.Metrics.Listen != "127.0.0.1:9793" || f.Store.SaveInterval.String() != "1m0s" {
		t.Errorf("defaults: %+v %+v %+v %+v", f.Site, f.Buses[0], f.Metrics, f.Store)
	}
}

func TestAliasesStandForWhatTheyName(t *testing.T) {
	var f file
	d := decode("plant.yaml", []byte("site: {id: &name a}\nbuses: [{id: *name}, {id: *other}]\ndevices: []\npumps: []\n"), &f)
	if f.Buses[0].ID != "a" || !strings.Contains(d.problems.Error(), "*other refers to nothing above") {
		t.Errorf("alias gives %q, problems %v", f.Buses[0].ID, d.problems)
	}
}

func TestAnAliasOfItselfEnds(t *testing.T) {
	for _, text := range []string{"site: &a *a\n", "site: &a [*a]\n", "site: &a {hazards: *a}\n", "site: {id: &a *b, title: &b *a}\n"} {
		var f file
		if d := decode("plant.yaml", []byte(text), &f); len(d.problems) == 0 {
			t.Errorf("%q has no problem", text)
		}
	}
}

func TestAliasesOfAliasesAreLimited(t *testing.T) {
	var b strings.Builder
	b.WriteString("site: {id: a}\nbuses: []\npumps: []\ndevices:\n  - {id: d, bus: b, points: &p [")
	b.WriteString(strings.Repeat("{name: x, doc: 40001, type: int16}, ", 1000))
	b.WriteString("]}\n")
	b.WriteString(strings.Repeat("  - {id: d, bus: b, points: *p}\n", 1000))
	var f file
	d := decode("plant.yaml", []byte(b.String()), &f) // 1000 × 1000 × 4 values
	const want = "plant.yaml: the file unfolds to more than 1000000 values; aliases (*) repeat too much"
	if !slices.ContainsFunc(d.problems, func(p Problem) bool { return p.Error() == want }) {
		t.Errorf("%d problems, none says %q", len(d.problems), want)
	}
}

func TestWordsAreFoundThroughSmallMistakes(t *testing.T) {
	known := []string{"motor_speed", "motor_power", "glycol_flow"}
	tests := []struct{ text, want string }{
		{"motor_sped", "motor_speed"},
		{"MOTOR_SPEED", "motor_speed"},
		{"motorpower", "motor_power"},
		{"flow", ""},
		{"", ""},
	}
	for _, tt := range tests {
		if got := nearest(tt.text, known); got != tt.want {
			t.Errorf("nearest to %q is %q, want %q", tt.text, got, tt.want)
		}
	}
}
