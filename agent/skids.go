package main

import (
	"fmt"
	"io"
	"slices"
	"strings"

	"pumpside/drivers"
	"pumpside/simulator"
)

// skidSite is what is needed to write a configuration for simulated skids.
type skidSite struct {
	ID, Title string
	Location  string
	Hazards   string // a YAML list
	Skids     []skidPump
	Metrics   string // listen address, "off" for none
	Page      string // listen address, "off" for none
	Broker    string // "" for none
	Store     string
	Save      string // save interval
	Log       string // level

	Circulation string // title of the group of all pumps, "" for none
	Required    int    // of them must run
}

// A skidPump is one simulated pump and where its devices are.
type skidPump struct {
	ID, Tag  string
	Bus      string // the line under the bus's id, such as "tcp: 127.0.0.1:5020"
	Drive    int    // unit numbers
	Module   int
	Opening  string // run hours before, "" for a new pump
	Services string // YAML of the services block, "" for the usual
}

// writeSkids writes the configuration of a site of simulated skids, from the
// simulator's own register table.
func writeSkids(w io.Writer, s skidSite) error {
	var b strings.Builder
	fmt.Fprintf(&b, "site:\n  id: %s\n  title: %s\n  clock: trusted\n", s.ID, s.Title)
	if s.Location != "" {
		fmt.Fprintf(&b, "  location: %s\n  hazards: %s\n", s.Location, s.Hazards)
	}
	fmt.Fprintf(&b, "buses:\n")
	for _, p := range s.Skids {
		fmt.Fprintf(&b, "  - {id: %s-bus, %s}\n", p.ID, p.Bus)
	}
	fmt.Fprintf(&b, "devices:\n")
	for i, p := range s.Skids {
		writeDevice(&b, p.ID+"-drive", p.ID+"-bus", p.Drive, simulator.Drive, i == 0)
		writeDevice(&b, p.ID+"-module", p.ID+"-bus", p.Module, simulator.Instruments, i == 0)
	}
	fmt.Fprintf(&b, "pumps:\n")
	for i, p := range s.Skids {
		writePump(&b, p, i == 0)
	}
	if s.Circulation != "" {
		var ids []string
		for _, p := range s.Skids {
			ids = append(ids, p.ID)
		}
		fmt.Fprintf(&b, "groups:\n  - {id: north, title: %s, pumps: [%s], required_running: %d}\n", s.Circulation, strings.Join(ids, ", "), s.Required)
	}
	if s.Broker != "" {
		fmt.Fprintf(&b, "mqtt: {broker: %q, telemetry: 5 s}\n", s.Broker)
	}
	fmt.Fprintf(&b, "metrics: {listen: %q}\n", s.Metrics)
	fmt.Fprintf(&b, "page: {listen: %q}\n", orOff(s.Page))
	fmt.Fprintf(&b, "store: {path: %q, save_interval: %s}\n", s.Store, s.Save)
	fmt.Fprintf(&b, "log: {level: %s}\n", s.Log)
	_, err := io.WriteString(w, b.String())
	return err
}

func orOff(address string) string {
	if address == "" {
		return "off"
	}
	return address
}

// writeDevice writes a device. Its points are written once, under an anchor,
// and referred to by the others of its kind.
func writeDevice(b *strings.Builder, id, bus string, unit int, kind simulator.Device, first bool) {
	fmt.Fprintf(b, "  - id: %s\n    bus: %s\n    unit: %d\n", id, bus, unit)
	if !first {
		fmt.Fprintf(b, "    points: *%v_points\n", kind)
		return
	}
	fmt.Fprintf(b, "    points: &%v_points\n", kind)
	for _, r := range simulator.Registers() {
		if _, known := roleOf(r); known && r.Device == kind {
			writePoint(b, r)
		}
	}
}

// roleOf gives the role that a simulated value plays for a pump.
func roleOf(r simulator.Register) (drivers.Signal, bool) {
	s, known := drivers.SignalNamed(r.Signal)
	return s, known && s != drivers.SealLeak // a count of drops is no flow
}

func writePoint(b *strings.Builder, r simulator.Register) {
	keys := []string{"name: " + r.Signal, fmt.Sprintf("table: %v", r.Table), fmt.Sprintf("address: %d", r.Address)}
	add := func(format string, args ...any) { keys = append(keys, fmt.Sprintf(format, args...)) }
	signal, _ := roleOf(r)
	switch {
	case signal == drivers.DriveStatus:
		add("type: status_402")
	case signal == drivers.OilLevelSwitch: // there 1 is enough oil, here 1 is too little
		add("type: %s", r.Type)
		add("scale: -1")
		add("offset: 1")
	default:
		add("type: %s", r.Type)
	}
	if r.WordOrder != "" {
		add("word_order: %s", r.WordOrder)
	}
	if r.Scale != 1 && signal != drivers.OilLevelSwitch {
		add("scale: %.12g", r.Scale)
	}
	if r.Offset != 0 {
		add("offset: %.12g", r.Offset)
	}
	switch {
	case r.Loop:
		add("loop: [%g %%, %g %%]", r.Low, r.High)
	case r.Unit != "":
		add("unit: %q", r.Unit)
		add("range: [%g %s, %g %s]", r.Low, r.Unit, r.High, r.Unit)
	}
	add("read: %s", r.Class)
	if signal == drivers.DischargePressure || signal == drivers.SuctionPressure {
		add("damping: 20 ms")
		add("update_period: 10 ms")
	}
	fmt.Fprintf(b, "      - {%s}\n", strings.Join(keys, ", "))
}

// usualServices are the service tasks of a simulated pump. The run-in change
// after 500 h is common practice; the intervals are invented.
const usualServices = `      - {task: oil, title: oil of the hydraulic end, first_run_hours: 500 h, run_hours: 4000 h, calendar: 365 d, parts: "oil 2.5 L; drain gasket"}
      - {task: valves, title: check valves, run_hours: 4000 h, strokes_per_plunger: 70e6, parts: "valve kit with O-rings"}
      - {task: diaphragms, title: diaphragms, run_hours: 8000 h, calendar: 730 d, parts: diaphragm kit}
      - {task: shaft_seal, title: shaft oil seal, run_hours: 8000 h, parts: shaft oil seal}
`

func writePump(b *strings.Builder, p skidPump, first bool) {
	m := simulator.DefaultMachine()
	fmt.Fprintf(b, "  - id: %s\n    tag: %s\n", p.ID, p.Tag)
	fmt.Fprintf(b, "    mechanism: {crank: {rod_ratio: %g, discharge: away}}\n", m.Mechanism.RodRatio)
	fmt.Fprintf(b, "    bore: %g mm\n    stroke: %g mm\n", 1e3*float64(m.Bore), 1e3*float64(m.Stroke))
	fmt.Fprintf(b, "    ratio: %.9g\n    motor: {poles: %d, rated_speed: 1450 rpm}\n", m.GearRatio, 2*m.PolePairs)
	fmt.Fprintf(b, "    rated_speed: %g rpm\n    rated_pressure: 9 MPa\n    cylinder_1: nearest the coupling\n    index_angle: 0 deg\n", 1.1*float64(m.RatedSpeed))
	if p.Opening != "" {
		fmt.Fprintf(b, "    opening: {run_hours: %s}\n", p.Opening)
	}
	fmt.Fprintf(b, "    counting: {witness: {power: 300 W, flow: 1 L/min}, hour_meter: {counts: run}}\n")
	fmt.Fprintf(b, "    limits:\n")
	fmt.Fprintf(b, "      discharge_pressure: {low: 4 MPa, high: 8.5 MPa, high_high: 9 MPa}\n")
	fmt.Fprintf(b, "      hydraulic_oil_temperature: {high: 80 °C, high_high: 90 °C}\n")
	fmt.Fprintf(b, "    signals:\n")
	for _, r := range simulator.Registers() {
		if _, known := roleOf(r); known {
			device := map[simulator.Device]string{simulator.Drive: "drive", simulator.Instruments: "module"}[r.Device]
			fmt.Fprintf(b, "      %s: %s-%s.%s\n", r.Signal, p.ID, device, r.Signal)
		}
	}
	services := p.Services
	if services == "" {
		services = usualServices
	}
	if !first && p.Services == "" {
		fmt.Fprintf(b, "    services: *usual_services\n")
		return
	}
	fmt.Fprintf(b, "    services: &usual_services\n%s", services)
}

// skidUnits puts skids on one server: drive and module of the i-th on the units
// 2i+1 and 2i+2.
func skidUnits(skids []*simulator.Skid) map[byte]simulator.Unit {
	units := map[byte]simulator.Unit{}
	for i, k := range slices.All(skids) {
		units[byte(2*i+1)] = k.Unit(simulator.Drive)
		units[byte(2*i+2)] = k.Unit(simulator.Instruments)
	}
	return units
}
