package configs

import (
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

func problemsOf(text string) string {
	var f file
	d := decode("plant.yaml", []byte(text), &f)
	return d.problems.sorted().Error()
}

func TestFormProblems(t *testing.T) {
	tests := []struct{ name, text, want string }{
		{"nothing", "", "plant.yaml: the file is empty; start from the reference configuration (site, buses, devices, pumps)"},
		{"only a comment", "# later\n", "plant.yaml: the file is empty; start from the reference configuration (site, buses, devices, pumps)"},
		{"two documents", "site: {id: a}\n---\nsite: {id: b}\n", "plant.yaml: the file holds more than one YAML document; remove the line with only ---"},
		{"a tab", "site:\n\tid: a\n", "plant.yaml:2:1: not YAML: found character '\t' that cannot start any token"},
		{"a list for a block", "site: [a]\nbuses: []\ndevices: []\npumps: []\n", "plant.yaml:1:1: site: must be a block of keys: id, title, location, hazards, time_zone, units, clock, alarms"},
		{"a key written twice", "site: {id: a}\nsite: {id: b}\n", `plant.yaml:2:1: not YAML: mapping key "site" already defined at [1:1]`},
		{"a key without a value", "site: {id: a}\nbuses:\ndevices: []\npumps: []\n", "plant.yaml:2:1: buses: has no value"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			if d := cmp.Diff(tt.want, problemsOf(tt.text)); d != "" {
				t.Errorf("problems (-want +got):\n%s", d)
			}
		})
	}
}

func TestUnknownKeysGetASuggestion(t *testing.T) {
	got := problemsOf("site: {id: a, tittle: x}\nbusses: []\nbuses: []\ndevices: []\npumps: []\n")
	want := `plant.yaml:1:15: site.tittle: unknown key; did you mean "title"?
plant.yaml:2:1: busses: unknown key; did you mean "buses"?`
	if d := cmp.Diff(want, got); d != "" {
		t.Errorf("problems (-want +got):\n%s", d)
	}
}

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

func FuzzDecode(f *testing.F) {
	f.Add([]byte("site: {id: a}\nbuses: [{id: b, timeout: 1 s}]\n"))
	f.Add([]byte("a: &x [*x]\n"))
	f.Fuzz(func(t *testing.T, text []byte) {
		var into file
		decode("plant.yaml", text, &into) // must not panic or hang
	})
}
