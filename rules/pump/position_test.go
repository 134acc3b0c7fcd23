package pump_test

import (
	"encoding/json"
	"testing"

	"pumpside/rules/pump"
)

func TestALeakingValveLosesFlowInTheOtherHalfOfTheStroke(t *testing.T) {
	tests := []struct {
		valve pump.Position
		want  string
	}{
		{pump.Position{Cylinder: 2, Side: pump.Suction}, "cylinder 2 discharge"},
		{pump.Position{Cylinder: 3, Side: pump.Discharge}, "cylinder 3 suction"},
		{pump.Position{Side: pump.Discharge}, "suction"},
		{pump.Position{Cylinder: 1}, "cylinder 1"},
		{pump.Position{}, "position not known"},
	}
	for _, tt := range tests {
		if got := tt.valve.LeaksIn().String(); got != tt.want {
			t.Errorf("%v leaks in %q, want %q", tt.valve, got, tt.want)
		}
		if back := tt.valve.LeaksIn().LeaksIn(); back != tt.valve {
			t.Errorf("%v comes back as %v", tt.valve, back)
		}
	}
}

func TestPositionsKeepTheirTextForm(t *testing.T) {
	for _, p := range append(triplex().Valves(), pump.Position{}) {
		text, err := json.Marshal(p)
		if err != nil {
			t.Fatal(err)
		}
		var back pump.Position
		if err := json.Unmarshal(text, &back); err != nil || back != p {
			t.Errorf("%v → %s → %v (%v)", p, text, back, err)
		}
	}
}

func TestWordsThatAreNoneOfOursAreRefused(t *testing.T) {
	var (
		side pump.Side
		kind pump.Kind
		dir  pump.Direction
	)
	tests := []struct {
		err  error
		want string
	}{
		{side.UnmarshalText([]byte("left")), `"left" is no side; use one of suction, discharge`},
		{kind.UnmarshalText([]byte("crankshaft")), `"crankshaft" is no mechanism; use one of crank, sine`},
		{dir.UnmarshalText([]byte("up")), `"up" is no discharge direction; use one of away, towards`},
	}
	for _, tt := range tests {
		if tt.err == nil || tt.err.Error() != tt.want {
			t.Errorf("got %v, want %s", tt.err, tt.want)
		}
	}
}

func TestKitsAreFoundByWhatTheyRenew(t *testing.T) {
	kits := []pump.Kit{
		{Name: "check valve kit", Renews: []pump.Component{pump.SuctionValve, pump.DischargeValve}, PerCylinder: true},
		{Name: "oil change", Renews: []pump.Component{pump.HydraulicOil}, Contents: []pump.Item{{Name: "oil", Quantity: 12, Unit: "L"}}},
	}
	for _, k := range kits {
		if err := k.Validate(); err != nil {
			t.Error(err)
		}
	}
	if got := pump.KitsFor(kits, pump.DischargeValve); len(got) != 1 || got[0].Name != "check valve kit" {
		t.Errorf("got %v", got)
	}
	const want = `name: missing; say what the kit is called, such as "check valve kit"
renews: missing; list what the kit renews, such as suction_valve
contents: "oil" has quantity 0; use a number above 0`
	bad := pump.Kit{Contents: []pump.Item{{Name: "oil"}}}
	if err := bad.Validate(); err == nil || err.Error() != want {
		t.Errorf("got\n%v\nwant\n%s", err, want)
	}
}
