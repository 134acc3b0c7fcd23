package probe

import (
	"flag"
	"os"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"pumpside/drivers"
	"pumpside/drivers/modbus"
)

var update = flag.Bool("update", false, "write testdata/draft.yaml anew")

func TestDraftSaysWhatWasFoundAndWhatIsMissing(t *testing.T) {
	b := block(0, 0x0637, 3, 17800, 12000)
	var points []DraftPoint
	for _, text := range []string{"status@40001=running", "speed@40002≈1780 rpm", "discharge@40004≈80 bar of 0 to 160 bar"} {
		e, err := ParseExpectation(text, 1)
		if err != nil {
			t.Fatal(err)
		}
		found := e.Find([]Block{b})
		points = append(points, DraftPoint{Expected: &e, Find: found[0], Remarks: e.Remarks(&found[0])})
	}
	d := Draft{
		Bus: modbus.Settings{Kind: modbus.RTU, Address: "/dev/serial/by-id/usb-line", Line: modbus.Line{Baud: 19200, Parity: modbus.EvenParity, StopBits: 1}},
		Devices: []DraftDevice{{
			Unit: 3, Identification: []string{"drive\nmodel 7"},
			Points: points,
			Blocks: []Block{b},
		}},
	}
	var got strings.Builder
	if err := d.Write(&got); err != nil {
		t.Fatal(err)
	}
	const path = "testdata/draft.yaml"
	if *update {
		if err := os.WriteFile(path, []byte(got.String()), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(string(want), got.String()); diff != "" {
		t.Error(diff)
	}
}

func TestRolesHaveTheNamesPeopleUse(t *testing.T) {
	for name, want := range map[string]drivers.Signal{
		"speed": drivers.MotorSpeed, "Discharge": drivers.DischargePressure, "glycol-flow": drivers.GlycolFlow,
		"suction_pressure": drivers.SuctionPressure, "colour": drivers.NoSignal, "": drivers.NoSignal,
	} {
		if got := RoleNamed(name); got != want {
			t.Errorf("RoleNamed(%q) = %v, want %v", name, got, want)
		}
	}
}
