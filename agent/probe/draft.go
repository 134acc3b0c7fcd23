package probe

import (
	"fmt"
	"io"
	"slices"
	"strings"

	"pumpside/drivers"
	"pumpside/drivers/modbus"
	"pumpside/drivers/regmap"
)

// A Draft is what was found on one bus, ready to be written down as the
// beginning of a configuration.
type Draft struct {
	Bus     modbus.Settings
	Devices []DraftDevice
}

// A DraftDevice is one unit that answered.
type DraftDevice struct {
	Unit           byte
	Identification []string // as the device says it; may be empty
	Points         []DraftPoint
	Blocks         []Block // what was read, for the points nobody named
}

// A DraftPoint is an expected value that was found.
type DraftPoint struct {
	Name    string
	Find    Find
	Remarks []string
}

// Write writes d as YAML. Where only a person knows what to write there is a
// comment, and check names each key that is missing.
func (d *Draft) Write(w io.Writer) error {
	var b strings.Builder
	b.WriteString(`# A draft by pumpside probe. What stands here was found on the bus; what only
# a person knows is missing, and pumpside check --config FILE names it.
site: {id: my-site}
buses:
`)
	d.bus(&b)
	b.WriteString("devices:\n")
	for i := range d.Devices {
		d.Devices[i].write(&b)
	}
	d.pump(&b)
	_, err := io.WriteString(w, b.String())
	return err
}

var parityWords = map[modbus.Parity]string{modbus.NoParity: "none", modbus.EvenParity: "even", modbus.OddParity: "odd"}

func (d *Draft) bus(b *strings.Builder) {
	s := &d.Bus
	line := fmt.Sprintf("baud: %d, parity: %s, stop_bits: %d", s.Line.Baud, parityWords[s.Line.Parity], s.Line.StopBits)
	switch s.Kind {
	case modbus.TCP:
		fmt.Fprintf(b, "  - {id: bus-1, tcp: %q}\n", s.Address)
	case modbus.RTU:
		fmt.Fprintf(b, "  - {id: bus-1, rtu: {path: %q, %s}}\n", s.Address, line)
	case modbus.RTUOverTCP:
		if s.Line.Baud == 0 {
			line = "baud: 9600, parity: even, stop_bits: 1"
			b.WriteString("  # baud, parity and stop bits are set in the serial server: look there; these are a guess\n")
		}
		fmt.Fprintf(b, "  - {id: bus-1, rtu_over_tcp: {address: %q, %s}}\n", s.Address, line)
	}
}

func (d *DraftDevice) write(b *strings.Builder) {
	for _, text := range d.Identification {
		fmt.Fprintf(b, "  # it says of itself: %s\n", printable(text))
	}
	fmt.Fprintf(b, "  - id: %s\n    bus: bus-1\n    unit: %d\n", d.id(), d.Unit)
	d.unknown(b)
	if len(d.Points) == 0 {
		b.WriteString("    # points: none of its values was named; probe with --expect 'speed≈1780 rpm'\n")
		return
	}
	b.WriteString("    points:\n")
	for i := range d.Points {
		p := &d.Points[i]
		for _, remark := range p.Remarks {
			fmt.Fprintf(b, "      # %s\n", remark)
		}
		fmt.Fprintf(b, "      - {%s}\n", strings.Join(p.keys(), ", "))
	}
}

// unknown lists what was read and means something that nobody named.
func (d *DraftDevice) unknown(b *strings.Builder) {
	const most = 12 // a comment of more is not read
	told := 0
	for _, block := range d.Blocks {
		for i := range block {
			likely := slices.DeleteFunc(Plausible(Readings(block, i), plain), func(r Reading) bool {
				return slices.ContainsFunc(block[i:i+r.Type.Registers()], d.names)
			})
			if len(likely) == 0 || told == most {
				continue
			}
			if told++; told == 1 {
				b.WriteString("    # also seen, and not named yet:\n")
			}
			r := &likely[0]
			fmt.Fprintf(b, "    #   %v %d: %g as %v\n", block[i].Table, block[i].Address, r.Last(), typeAndOrder(r))
		}
	}
}

// names reports whether a point of d covers the cell.
func (d *DraftDevice) names(c Cell) bool {
	for i := range d.Points {
		f := &d.Points[i].Find
		from, to := int(f.Address), int(f.Address)+f.Reading.Type.Registers()
		if f.Table == c.Table && from <= int(c.Address) && int(c.Address) < to {
			return true
		}
	}
	return false
}

func (d *DraftDevice) id() string { return fmt.Sprintf("unit-%d", d.Unit) }

func (p *DraftPoint) keys() []string {
	f := &p.Find
	keys := []string{"name: " + shortName(p.Name), fmt.Sprintf("table: %v", f.Table), fmt.Sprintf("address: %d", f.Address), fmt.Sprintf("type: %v", f.Reading.Type)}
	add := func(format string, args ...any) { keys = append(keys, fmt.Sprintf(format, args...)) }
	if f.Reading.Order != regmap.NoOrder {
		add("word_order: %v", f.Reading.Order)
	}
	if f.Scale != 1 {
		add("scale: %g", f.Scale)
	}
	if f.Unit.Symbol != "" {
		add("unit: %q", f.Unit.Symbol)
	}
	return keys
}

// pump writes the pump whose roles the names of the found values tell.
func (d *Draft) pump(b *strings.Builder) {
	b.WriteString(`pumps:
  - id: gp-1
    # mechanism, bore, stroke, ratio, rated_speed, rated_pressure: from the
    # maker's papers; pumpside check --explain pumps.mechanism says what each is
    signals:
`)
	none := true
	for i := range d.Devices {
		for j := range d.Devices[i].Points {
			name := d.Devices[i].Points[j].Name
			if role := RoleNamed(name); role != drivers.NoSignal {
				fmt.Fprintf(b, "      %v: %s.%s\n", role, d.Devices[i].id(), shortName(name))
				none = false
			}
		}
	}
	if none {
		b.WriteString("      # role: device.point; the roles are listed in the reference configuration\n")
	}
}

// roleWords are what people say for a role, beside its own name.
var roleWords = map[string]drivers.Signal{
	"speed": drivers.MotorSpeed, "current": drivers.MotorCurrent, "power": drivers.MotorPower, "torque": drivers.MotorTorque,
	"frequency": drivers.DriveFrequency, "hours": drivers.DriveRunHours, "run_hours": drivers.DriveRunHours,
	"discharge": drivers.DischargePressure, "suction": drivers.SuctionPressure,
	"flow": drivers.GlycolFlow, "volume": drivers.GlycolVolume, "totaliser": drivers.GlycolVolume,
	"level": drivers.GlycolLevel, "temperature": drivers.GlycolTemperature, "oil": drivers.HydraulicOilTemperature,
}

// RoleNamed gives the role that a name speaks of, NoSignal when it speaks of
// none that is known.
func RoleNamed(name string) drivers.Signal {
	name = strings.ReplaceAll(strings.ToLower(shortName(name)), "-", "_")
	if s, known := drivers.SignalNamed(name); known {
		return s
	}
	return roleWords[name]
}

// shortName makes a name fit for a configuration.
func shortName(text string) string {
	return strings.Map(func(r rune) rune {
		switch {
		case 'a' <= r && r <= 'z', 'A' <= r && r <= 'Z', '0' <= r && r <= '9', r == '-', r == '_':
			return r
		}
		return '-'
	}, text)
}

// printable keeps what a device says of itself from breaking out of a comment.
func printable(text string) string {
	return strings.Map(func(r rune) rune {
		if r < ' ' || r == 0x7F || r == '\uFFFD' || r == '\u0085' || r == '\u2028' || r == '\u2029' {
			return '?'
		}
		return r
	}, text)
}

func typeAndOrder(r *Reading) string {
	if r.Order == regmap.NoOrder {
		return r.Type.String()
	}
	return r.Type.String() + " " + r.Order.String()
}
