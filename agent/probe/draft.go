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
	Expected *Expectation
	Find     Find
	Remarks  []string
}

func (p *DraftPoint) name() string { return shortName(p.Expected.Name) }

func (p *DraftPoint) role() drivers.Signal { return RoleNamed(p.Expected.Name) }

// Write writes d as YAML. Where only a person knows what to write there is a
// comment, and check names each key that is missing.
func (d *Draft) Write(w io.Writer) error {
	var b strings.Builder
	b.WriteString(`# A draft by pumpside probe. What stands here was found on the bus; what only
# a person knows is missing, and pumpside check --config FILE names it. Addresses
# are those on the wire.
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
	if len(d.Identification) > 0 {
		fmt.Fprintf(b, "  # it says of itself: %s\n", printable(strings.Join(d.Identification, ", ")))
	}
	fmt.Fprintf(b, "  - id: %s\n    bus: bus-1\n    unit: %d\n", d.id(), d.Unit)
	d.unknown(b)
	if len(d.Points) == 0 {
		b.WriteString("    # points: none of its values was named; probe with --expect 'speed≈1780 rpm'\n")
		return
	}
	b.WriteString("    points:\n")
	told := map[string]bool{} // what holds for all values of a device
	for i := range d.Points {
		p := &d.Points[i]
		for _, remark := range p.Remarks {
			if !told[remark] {
				fmt.Fprintf(b, "      # %s: %s\n", p.name(), remark)
			}
			told[remark] = true
		}
		if p.role() == drivers.DischargePressure {
			b.WriteString("      # look up the transmitter's damping, set it to 0 to 0.1 s, and say it here, such as damping: 100 ms;\n" +
				"      # until then it is assumed to hide the ripple, and with it a failing check valve\n")
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
	keys := []string{"name: " + p.name(), fmt.Sprintf("table: %v", f.Table), fmt.Sprintf("address: %d", f.Address), fmt.Sprintf("type: %v", f.Reading.Type)}
	if f.Reading.Order != regmap.NoOrder {
		keys = append(keys, fmt.Sprintf("word_order: %v", f.Reading.Order))
	}
	switch {
	case f.Span != nil:
		keys = append(keys, f.spanKeys(p.Expected)...)
	case f.Scale != 1:
		keys = append(keys, fmt.Sprintf("scale: %g", f.Scale))
		fallthrough
	case f.Unit.Symbol != "":
		keys = append(keys, unitKey(f.Unit))
	}
	return append(keys, readKeys[p.role()]...)
}

// readKeys say how often a value is worth reading where routine is not it.
var readKeys = map[drivers.Signal][]string{
	drivers.DischargePressure:       {"read: fast"},
	drivers.ShaftIndex:              {"read: fast"},
	drivers.DriveRunHours:           {"read: slow"},
	drivers.GlycolTemperature:       {"read: slow"},
	drivers.HydraulicOilTemperature: {"read: slow"},
}

// pump writes the pump whose roles the names of the found values tell.
func (d *Draft) pump(b *strings.Builder) {
	b.WriteString(`pumps:
  - id: gp-1
    # From the plates and papers of pump and motor: put your values in, and take
    # the # away. pumpside check --explain pumps.bore, and so on, says what each is.
    # mechanism: {crank: {rod_ratio: 5, discharge: away}}   # or {sine: true} for a wobble plate
    # bore: 40 mm
    # stroke: 30 mm
    # ratio: 4.9                                            # motor turns for one pump turn
    # motor: {poles: 4, rated_speed: 1460 rpm}
    # rated_speed: 320 rpm                                  # of the pump's shaft
    # rated_pressure: 12 MPa
    signals:
`)
	none, power := true, false
	for i := range d.Devices {
		for j := range d.Devices[i].Points {
			p := &d.Devices[i].Points[j]
			if role := p.role(); role != drivers.NoSignal {
				fmt.Fprintf(b, "      %v: %s.%s\n", role, d.Devices[i].id(), p.name())
				none, power = false, power || role == drivers.MotorPower
			}
		}
	}
	if none {
		b.WriteString("      # role: device.point; the roles are listed in the reference configuration\n")
	}
	if power {
		b.WriteString("    # counting: {witness: {power: 500 W}}                   # above the motor's idle power: then a broken coupling does not count as running\n")
	}
	b.WriteString(`    # services:
    #   - {task: oil, run_hours: 4000 h, calendar: 365 d}
# mqtt: {broker: "tls://broker.example:8883"}
# metrics: {listen: "127.0.0.1:9793"}
`)
}

// roleWords are what people say for a role, beside its own name.
var roleWords = map[string]drivers.Signal{
	"status": drivers.DriveStatus, "fault": drivers.DriveFaultCode, "index": drivers.ShaftIndex,
	"demand": drivers.RunDemand, "contactor": drivers.ContactorAuxiliary, "diaphragm": drivers.DiaphragmLeak,
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
