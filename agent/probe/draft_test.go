package probe

import (
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"pumpside/drivers"
	"pumpside/drivers/modbus"
)

func TestDraftSaysWhatWasFoundAndWhatIsMissing(t *testing.T) {
	speed, err := ParseExpectation("speed@40002≈1780 rpm", 1)
	if err != nil {
		t.Fatal(err)
	}
	b := block(0, 5, 3, 17800)
	found := speed.Find([]Block{b})
	d := Draft{
		Bus: modbus.Settings{Kind: modbus.RTU, Address: "/dev/serial/by-id/usb-line", Line: modbus.Line{Baud: 19200, Parity: modbus.EvenParity, StopBits: 1}},
		Devices: []DraftDevice{{
			Unit: 3, Identification: []string{"drive\nmodel 7"},
			Points: []DraftPoint{{Name: "speed", Find: found[0], Remarks: speed.Remarks(&found[0])}},
			Blocks: []Block{b},
		}},
	}
	const want = `# A draft by pumpside probe. What stands here was found on the bus; what only
# a person knows is missing, and pumpside check --config FILE names it.
site: {id: my-site}
buses:
  - {id: bus-1, rtu: {path: "/dev/serial/by-id/usb-line", baud: 19200, parity: even, stop_bits: 1}}
devices:
  # it says of itself: drive?model 7
  - id: unit-3
    bus: bus-1
    unit: 3
    # also seen, and not named yet:
    #   holding 0: 5 as uint16
    #   holding 1: 3 as uint16
    points:
      # it stands one address after the manual's: the manual's numbers are those on the wire; use doc_base: 0
      - {name: speed, table: holding, address: 2, type: uint16, scale: 0.1, unit: "rpm"}
pumps:
  - id: gp-1
    # mechanism, bore, stroke, ratio, rated_speed, rated_pressure: from the
    # maker's papers; pumpside check --explain pumps.mechanism says what each is
    signals:
      motor_speed: unit-3.speed
`
	var got strings.Builder
	if err := d.Write(&got); err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(want, got.String()); diff != "" {
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
