package configs

import (
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"pumpside/drivers/quantity"
	"pumpside/drivers/regmap"
)

// profiled loads a configuration whose first device has that profile and
// points, and gives the points and what is wrong.
func profiled(t *testing.T, profile, points string) ([]regmap.Point, string) {
	t.Helper()
	text := strings.Replace(string(plant(1, false)), "devices:\n", "devices:\n  - id: tried\n    bus: bus-0\n    unit: 99\n    profile: "+profile+"\n    points:\n"+points, 1)
	c, err := Load("p.yaml", []byte(text))
	if err != nil {
		return nil, err.Error()
	}
	return c.Devices[0].Map.Points, ""
}

func TestPointsTakeFromTheirProfileWhatTheyLeaveOut(t *testing.T) {
	rpm, _ := quantity.Lookup("rpm")
	celsius, _ := quantity.Lookup("°C")
	hour, _ := quantity.Lookup("h")
	tests := []struct {
		name, profile, point string
		want                 regmap.Point
	}{
		{
			"a status word of IEC 61800-7-201", "drive_402", "{name: status, doc: 40101}",
			regmap.Point{Name: "status", Table: regmap.Holding, Address: 100, Type: regmap.Status402, Scale: 1},
		},
		{
			"one of IEC 61800-7-203", "drive_profidrive", "{name: status, doc: 40101}",
			regmap.Point{Name: "status", Table: regmap.Holding, Address: 100, Type: regmap.StatusPROFIdrive, Scale: 1},
		},
		{
			"what the site writes counts", "drive_402", "{name: speed, doc: 40103, scale: 0.1, type: uint16}",
			regmap.Point{Name: "speed", Table: regmap.Holding, Address: 102, Type: regmap.Uint16, Scale: 0.1, Unit: rpm},
		},
		{
			"hours are read slowly", "drive_402", "{name: run_hours, doc: 40110, word_order: CDAB}",
			regmap.Point{Name: "run_hours", Table: regmap.Holding, Address: 109, Type: regmap.Uint32, Order: regmap.CDAB, Scale: 1, Unit: hour, Class: regmap.Slow},
		},
		{
			"any name is an input of a current module", "current_input", "{name: oil, doc: 30004, loop: [-20 °C, 150 °C]}",
			regmap.Point{Name: "oil", Table: regmap.Input, Address: 3, Type: regmap.Uint16, Scale: 0.001, Unit: celsius, Loop: regmap.Range{Low: -20, High: 150}},
		},
		{
			"an index is read fast", "pulse_counter", "{name: index, table: input, address: 8, word_order: ABCD}",
			regmap.Point{Name: "index", Table: regmap.Input, Address: 8, Type: regmap.Uint32, Order: regmap.ABCD, Scale: 1, Class: regmap.Fast},
		},
		{
			"a transmitter with floats", "float_transmitter", "{name: oil, table: input, address: 0, word_order: ABCD, unit: °C}",
			regmap.Point{Name: "oil", Table: regmap.Input, Address: 0, Type: regmap.Float32, Order: regmap.ABCD, Scale: 1, Unit: celsius},
		},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			points, wrong := profiled(t, tt.profile, "      - "+tt.point+"\n")
			if wrong != "" {
				t.Fatal(wrong)
			}
			if diff := cmp.Diff([]regmap.Point{tt.want}, points); diff != "" {
				t.Error(diff)
			}
		})
	}
}

func TestProfilesLeaveNoRoomForGuesses(t *testing.T) {
	tests := []struct{ name, profile, point, want string }{
		{"an unknown profile", "drive_403", "{name: status, doc: 40101}", `there is no profile "drive_403"; did you mean "drive_402"?`},
		{"a point the profile does not know", "drive_402", "{name: colour, doc: 40101}", "type: missing; say how the registers are to be read, such as uint16 or float32; the profile knows status, fault, speed"},
		{"an address is never in a profile", "drive_402", "{name: status}", "has no address; write doc"},
		{"nor a word order", "drive_402", "{name: run_hours, doc: 40110}", "word_order: missing; uint32 takes 2 registers"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			_, got := profiled(t, tt.profile, "      - "+tt.point+"\n")
			if !strings.Contains(got, tt.want) {
				t.Errorf("problems\n%s\nlack %s", got, tt.want)
			}
		})
	}
}

func TestEveryProfileIsExplained(t *testing.T) {
	list := Profiles()
	var names []string
	for _, p := range list {
		names = append(names, p.Name)
		if p.Title == "" || !strings.HasPrefix(string(p.Text), "# ") {
			t.Errorf("profile %s has no title, or no comment at its beginning", p.Name)
		}
	}
	text, err := Explain("devices.profile")
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range names {
		if !strings.Contains(text, name) {
			t.Errorf("the key profile does not name %s", name)
		}
	}
	if want := []string{"current_input", "drive_402", "drive_profidrive", "float_transmitter", "pulse_counter"}; !cmp.Equal(want, names) {
		t.Errorf("profiles %v, want %v", names, want)
	}
}
