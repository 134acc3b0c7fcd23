package configs

import (
	"reflect"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

func TestExplainSaysWhatAKeyIs(t *testing.T) {
	tests := []struct{ name, key, want string }{
		{"a quantity", "pumps[0].bore", `pumps.bore
  what      Plunger diameter.
  form      a length with its unit, such as "25.4 mm"
  needed    plunger diameter, such as 40 mm
`},
		{"a word with a default", "devices.points.read", `devices.points.read
  what      Read class.
  form      a text
  one of    routine, slow, fast
  default   routine
`},
		{"a key under a name of the site's own choice", "pumps.limits.discharge_pressure.high", `pumps.limits.discharge_pressure.high
  what      Upper limit.
  form      a text
`},
		{"a name of the site's own choice", "pumps.signals.motor_speed", `pumps.signals.motor_speed
  what      A name of the site's own choice.
  form      a text
`},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			got, err := Explain(tt.key)
			if err != nil {
				t.Fatal(err)
			}
			if diff := cmp.Diff(tt.want, got); diff != "" {
				t.Error(diff)
			}
		})
	}
}

func TestExplainKnowsEveryKey(t *testing.T) {
	for _, s := range []string{"", "site", "buses", "devices", "pumps", "mqtt", "metrics", "store", "log"} {
		text, err := Explain(s)
		if err != nil || !strings.Contains(text, "keys below it:") {
			t.Errorf("Explain(%q) = %q, %v", s, text, err)
		}
	}
	for _, f := range shapeOf(reflect.TypeFor[pumpFile]()).fields {
		text, err := Explain("pumps." + f.name)
		if err != nil || !strings.Contains(text, f.doc+f.refuse) {
			t.Errorf("Explain(pumps.%s) = %q, %v", f.name, text, err)
		}
	}
}

func TestExplainSaysWhatIsWrongWithAKey(t *testing.T) {
	for key, want := range map[string]string{
		"pumps.boar":   `pumps.boar: unknown key; did you mean "bore"?`,
		"site.id.name": "site.id has no keys below it",
	} {
		if _, err := Explain(key); err == nil || err.Error() != want {
			t.Errorf("Explain(%q): error %v, want %s", key, err, want)
		}
	}
}
