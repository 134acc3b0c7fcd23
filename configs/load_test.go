package configs

import (
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"github.com/rogpeppe/go-internal/txtar"

	"pumpside/drivers"
	"pumpside/drivers/modbus"
	"pumpside/drivers/quantity"
	"pumpside/drivers/regmap"
	"pumpside/exporter/mqtt"
	"pumpside/rules"
	"pumpside/rules/alarm"
	"pumpside/rules/counters"
	"pumpside/rules/orders"
	"pumpside/rules/pump"
	"pumpside/rules/service"
	"pumpside/rules/site"
	"pumpside/rules/trend"
)

func reference0(t *testing.T) *Config {
	t.Helper()
	c, err := Load("reference.yaml", Reference)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

func TestLoadGivesTheSiteAndWhatLeavesIt(t *testing.T) {
	c := reference0(t)
	zone, _ := time.LoadLocation("America/Denver")
	want := Site{
		ID: "ridge-7", Title: "Ridge Station 7", Location: "km 12 of the north road, gate code at dispatch",
		Hazards: []string{"hydrogen sulphide possible, personal monitor required", "no mobile coverage in the pump house"}, TimeZone: zone,
		EnergyPrice: 0.14, HeatPrice: 0.03, Currency: "EUR",
		Calls: Calls{
			EscalateAfter: 15 * time.Minute, EscalateTo: []string{"duty manager", "operations manager"}, Quiet: Hours{22 * time.Hour, 6 * time.Hour},
			Rota: []Rota{
				{Responder: alarm.Mechanic, Days: []time.Weekday{time.Friday, time.Saturday, time.Sunday}, Hours: Hours{18 * time.Hour, 6 * time.Hour}, Call: "weekend mechanic"},
				{Responder: alarm.Mechanic, Call: "workshop"},
			},
		},
	}
	if d := cmp.Diff(want, c.Site, cmp.Comparer(func(a, b *time.Location) bool { return a.String() == b.String() })); d != "" {
		t.Errorf("site (-want +got):\n%s", d)
	}
	wantMQTT := &MQTT{
		Settings: mqtt.Settings{
			Broker: "tls://broker.example:8883", ClientID: "pumpside-ridge-7", User: "ridge-7", PasswordFile: "/etc/pumpside/mqtt-password", CAFile: "/etc/pumpside/ca.pem",
			CertificateFile: "/etc/pumpside/client.pem", KeyFile: "/etc/pumpside/client-key.pem", ServerName: "broker.example",
			KeepAlive: 20 * time.Second, TelemetryEvery: 10 * time.Second,
		},
		OutboxLimit: 50000,
	}
	if d := cmp.Diff(wantMQTT, c.MQTT); d != "" {
		t.Errorf("mqtt (-want +got):\n%s", d)
	}
	if c.Metrics.Listen != "127.0.0.1:9793" || c.Log != (Log{Level: "info"}) {
		t.Errorf("metrics %+v, log %+v", c.Metrics, c.Log)
	}
	wantPage := Page{
		Listen: "127.0.0.1:8793", Loopback: true, UsersFile: "/var/lib/pumpside/users",
		CertificateFile: "/etc/pumpside/page.crt", KeyFile: "/etc/pumpside/page.key",
	}
	if c.Page != wantPage {
		t.Errorf("page %+v, want %+v", c.Page, wantPage)
	}
	wantStore := Store{Path: "/var/lib/pumpside/pumpside.db", SaveInterval: time.Minute, JournalFor: 730 * 24 * time.Hour}
	if c.Store != wantStore {
		t.Errorf("store %+v, want %+v", c.Store, wantStore)
	}
	if len(c.Hash) != 12 {
		t.Errorf("hash %q is not 12 digits", c.Hash)
	}
}

func TestLoadGivesBuses(t *testing.T) {
	c := reference0(t)
	want := []Bus{
		{"drive-a", modbus.Settings{Kind: modbus.TCP, Address: "192.0.2.11:502", Timeout: 500 * time.Millisecond, LateLimit: time.Second}},
		{"drive-b", modbus.Settings{Kind: modbus.TCP, Address: "192.0.2.12:502", Timeout: 500 * time.Millisecond, LateLimit: time.Second}},
		{"skid", modbus.Settings{
			Kind: modbus.RTU, Address: "/dev/serial/by-id/usb-skid-line", Timeout: 300 * time.Millisecond, LateLimit: time.Second,
			Line: modbus.Line{Baud: 19200, Parity: modbus.EvenParity, StopBits: 1},
		}},
		{"plant", modbus.Settings{
			Kind: modbus.RTUOverTCP, Address: "192.0.2.20:4001", Timeout: 500 * time.Millisecond, LateLimit: time.Second,
			Line: modbus.Line{Baud: 9600, Parity: modbus.NoParity, StopBits: 2},
		}},
	}
	if d := cmp.Diff(want, c.Buses); d != "" {
		t.Errorf("buses (-want +got):\n%s", d)
	}
	for _, b := range c.Buses {
		if err := b.Settings.Check(); err != nil {
			t.Errorf("bus %s: %v", b.ID, err)
		}
	}
}

func TestLoadGivesPoints(t *testing.T) {
	c := reference0(t)
	unit := func(symbol string) quantity.Unit {
		u, ok := quantity.Lookup(symbol)
		if !ok {
			t.Fatalf("no unit %q", symbol)
		}
		return u
	}
	tests := []struct {
		device, point int
		want          regmap.Point
	}{
		{0, 0, regmap.Point{Name: "status", Table: regmap.Holding, Address: 100, Type: regmap.Status402, Scale: 1}},
		{0, 1, regmap.Point{Name: "speed", Table: regmap.Holding, Address: 102, Type: regmap.Int16, Scale: 0.1, Unit: unit("rpm"), Valid: regmap.Range{Low: -2000, High: 2000}}},
		{0, 5, regmap.Point{Name: "run_hours", Table: regmap.Holding, Address: 109, Type: regmap.Uint32, Order: regmap.CDAB, Scale: 1, Unit: unit("h"), Class: regmap.Slow}},
		{2, 0, regmap.Point{
			Name: "discharge-a", Table: regmap.Input, Address: 0, Type: regmap.Uint16, Scale: 0.001, Unit: unit("bar"), Loop: regmap.Range{Low: 0, High: 16e6},
			Class: regmap.Fast, UpdatePeriod: 25 * time.Millisecond, Path: regmap.Path{Damping: 100 * time.Millisecond, DampingKnown: true, Resolution: 1000},
		}},
		{2, 4, regmap.Point{
			Name: "level", Table: regmap.Input, Address: 4, Type: regmap.Uint16, Scale: 0.001, Unit: unit("%"), Loop: regmap.Range{Low: 0, High: 1}, FrozenAfter: 4 * time.Hour,
		}},
		{4, 0, regmap.Point{
			Name: "flow", Table: regmap.Input, Address: 0, Type: regmap.Float32, Order: regmap.ABCD, Scale: 1, Unit: unit("L/min"),
			NotAvailable: []uint64{0x7FC00000, uint64(math.Float32bits(-9999))},
		}},
	}
	for _, tt := range tests {
		t.Run(tt.want.Name, func(t *testing.T) {
			if d := cmp.Diff(tt.want, c.Devices[tt.device].Map.Points[tt.point]); d != "" {
				t.Errorf("point (-want +got):\n%s", d)
			}
		})
	}
	d := c.Devices[0]
	if d.Bus != 0 || d.Unit != 1 || d.Routine != time.Second || d.Slow != 30*time.Second || d.FastFor != 20*time.Second || d.FastEvery != 5*time.Minute {
		t.Errorf("device %+v", d)
	}
	if d := cmp.Diff([]regmap.Span{{Table: regmap.Holding, First: 120, Count: 80}}, d.Map.Unreadable); d != "" {
		t.Errorf("unreadable (-want +got):\n%s", d)
	}
}

func TestLoadGivesAPump(t *testing.T) {
	p := reference0(t).Pumps[0]
	wantGeometry := pump.Geometry{
		Mechanism: pump.Mechanism{Kind: pump.Crank, RodRatio: 5, Discharge: pump.Away}, Cylinders: 3, Bore: 0.04, Stroke: 0.03,
		Dead: pump.DeadVolume{Oil: 60e-6, Liquid: 90e-6}, Ratio: 4.9, MotorPoles: 4, MotorRatedSpeed: 1460, RatedSpeed: 320, RatedPressure: 12e6,
		Index: pump.Index{PulsesPerRevolution: 1, AngleKnown: true}, Cylinder1: "nearest the coupling",
	}
	near := cmp.Comparer(func(a, b quantity.CubicMeters) bool { return math.Abs(float64(a-b)) < 1e-12 })
	if d := cmp.Diff(wantGeometry, p.Geometry, near); d != "" {
		t.Errorf("geometry (-want +got):\n%s", d)
	}
	if p.DriveFaults.Text(7) != "motor overtemperature" || p.DriveFaults.Text(0x3210) != "" {
		t.Errorf("faults: %q and %q", p.DriveFaults.Text(7), p.DriveFaults.Text(0x3210))
	}
	if p.Titles["oil-low"] != "low oil of the gearbox" || p.Titles["valves"] != "check valves of all cylinders" || p.Parts["valves"] != "6 valve cartridges with seat O-rings" {
		t.Errorf("titles %v, parts %v", p.Titles, p.Parts)
	}
	if got := (DriveFaults{Standard: true}).Text(0x3210); got != "DC link voltage (error code 0x3210)" {
		t.Errorf("standard fault: %q", got)
	}
}

func TestLoadGivesWhatCountersNeed(t *testing.T) {
	got := reference0(t).Pumps[0].Rules.Counters
	want, err := counters.Settings{
		// suction is shared with gp-2 and so no signal of this pump's own
		Installed: counters.SignalsOf(
			drivers.DriveStatus, drivers.DriveFaultCode, drivers.MotorSpeed, drivers.MotorCurrent, drivers.MotorPower, drivers.DriveRunHours,
			drivers.DischargePressure, drivers.GlycolFlow, drivers.GlycolVolume, drivers.GlycolTemperature, drivers.DiaphragmLeak, drivers.ShaftIndex,
			drivers.ContactorPressure, drivers.GasFlow, drivers.GasTemperature, drivers.CirculationDemand,
		),
		SpeedThreshold: 50, RatedSpeed: 1460, PerHertz: 30, Ratio: 4.9, Cylinders: 3,
		Displacement: quantity.CubicMeters(3 * math.Pi / 4 * 0.04 * 0.04 * 0.03), // 3·π/4·d²·s = 113 mL
		Efficiency:   0.9, MaxGap: 10 * time.Second, WitnessPower: 1500, WitnessRipple: 2e5, WitnessFlow: 5e-3 / 60,
		Index: counters.Index{PulsesPerRevolution: 1, Bits: 32}, HourMeter: counters.HourMeter{Resolution: time.Hour, Bits: 16},
		Totaliser: counters.Totaliser{RollsOverAt: 1e5},
		Opening:   counters.Opening{Run: 12400 * time.Hour, Revolutions: 2.1e8, Starts: 830, Pumped: 21000, Energy: 65000 * 3.6e6},
	}.Checked()
	if err != nil {
		t.Fatal(err)
	}
	near := cmp.Comparer(func(a, b float64) bool { return math.Abs(a-b) <= 1e-9*math.Abs(b) })
	if d := cmp.Diff(want, got, cmp.Transformer("volume", func(v quantity.CubicMeters) float64 { return float64(v) }),
		cmp.Transformer("flow", func(v quantity.CubicMetersPerSecond) float64 { return float64(v) }), near); d != "" {
		t.Errorf("counters (-want +got):\n%s", d)
	}
}

func TestLoadGivesSignalsWithTheAgeAtWhichTheyAreStale(t *testing.T) {
	p := reference0(t).Pumps[0]
	want := []rules.SignalSettings{
		{Signal: drivers.DriveStatus, StaleAfter: 3 * time.Second},
		{Signal: drivers.DriveFaultCode, StaleAfter: 3 * time.Second},
		{Signal: drivers.MotorSpeed, StaleAfter: 3 * time.Second},
		{Signal: drivers.MotorCurrent, StaleAfter: 3 * time.Second},
		{Signal: drivers.MotorPower, StaleAfter: 3 * time.Second},
		{Signal: drivers.DriveRunHours, StaleAfter: 90 * time.Second},
		{Signal: drivers.SuctionPressure, StaleAfter: 3 * time.Second, Shared: true, Point: "analog.suction"},
		{Signal: drivers.DischargePressure, StaleAfter: 3 * time.Second, UpdatePeriod: 25 * time.Millisecond, Path: orders.Path{Lags: [3]float64{0.1}}},
		{Signal: drivers.GlycolFlow, StaleAfter: 3 * time.Second},
		{Signal: drivers.GlycolVolume, StaleAfter: 90 * time.Second},
		{Signal: drivers.GlycolTemperature, StaleAfter: 90 * time.Second},
		{Signal: drivers.GlycolLevel, StaleAfter: 3 * time.Second, Shared: true, Point: "analog.level"},
		{Signal: drivers.DiaphragmLeak, StaleAfter: 3 * time.Second},
		{Signal: drivers.ShaftIndex, StaleAfter: 3 * time.Second},
		{Signal: drivers.Auxiliary(0), Name: "oil-low", StaleAfter: 3 * time.Second},
		{Signal: drivers.ContactorPressure, StaleAfter: 90 * time.Second, Point: "analog.contactor"},
		{Signal: drivers.GasFlow, StaleAfter: 90 * time.Second, Point: "analog.gas"},
		{Signal: drivers.GasTemperature, StaleAfter: 90 * time.Second, Point: "analog.gas-temperature"},
		{Signal: drivers.CirculationDemand, StaleAfter: 3 * time.Second, Point: "switches.circulate"},
	}
	if d := cmp.Diff(want, p.Rules.Signals); d != "" {
		t.Errorf("signals (-want +got):\n%s", d)
	}
	for i, f := range p.Feeds {
		if f.Signal != want[i].Signal {
			t.Errorf("feed %d is %v, want %v", i, f.Signal, want[i].Signal)
		}
	}
	if f := p.Feeds[7]; f != (Feed{Device: 2, Point: 0, Signal: drivers.DischargePressure}) {
		t.Errorf("discharge pressure comes from %+v", f)
	}
}

func TestLoadGivesLimitsInBaseUnits(t *testing.T) {
	p := reference0(t).Pumps[0]
	x := func(v float64) *float64 { return &v }
	d := func(v time.Duration) *time.Duration { return &v }
	delay := alarm.Change{OnDelay: d(15 * time.Second), OffDelay: d(15 * time.Second)}
	high, medium, now, room, no := alarm.High, alarm.Medium, alarm.Now, alarm.ControlRoom, false
	want := []alarm.SignalSettings{
		{
			Signal: drivers.DischargePressure, Span: 16e6, LowLow: x(4e6), Low: x(5.5e6), High: x(9.5e6), HighHigh: x(11e6), Over: 10 * time.Minute,
			Against: drivers.SuctionPressure, Above: x(10e6), Below: x(3.5e6), Deadband: x(0.02), ForLow: delay, Rate: delay, Deviation: delay,
			ForHigh: alarm.Change{
				Priority: &medium, WorsePriority: &high, Responder: &room, Notify: &now, Latching: &no, OnDelay: d(20 * time.Second), OffDelay: d(20 * time.Second),
				ReAlarm: d(8 * time.Hour), Blanking: d(time.Minute), TimeToRespond: d(30 * time.Minute),
			},
		},
		{Signal: drivers.GlycolLevel, Span: 1, Low: x(0.3), LowLow: x(0.15), Over: 10 * time.Minute},
		{Signal: drivers.GlycolTemperature, Span: 170, High: x(110), RisesFaster: x(15.0 / 600), FallsFaster: x(30.0 / 600), Over: 10 * time.Minute},
		{Signal: drivers.Auxiliary(0), Name: "oil-low", State: x(1), ForLow: alarm.Change{OnDelay: d(time.Minute), OffDelay: d(time.Minute)}, ForHigh: alarm.Change{OnDelay: d(time.Minute), OffDelay: d(time.Minute)}, Rate: alarm.Change{OnDelay: d(time.Minute), OffDelay: d(time.Minute)}, Deviation: alarm.Change{OnDelay: d(time.Minute), OffDelay: d(time.Minute)}},
	}
	near := cmp.Comparer(func(a, b float64) bool { return math.Abs(a-b) <= 1e-9*math.Abs(b) })
	if d := cmp.Diff(want, p.Rules.Limits, near); d != "" {
		t.Errorf("limits (-want +got):\n%s", d)
	}
}

func TestLoadGivesServicesAndThresholds(t *testing.T) {
	set := reference0(t).Pumps[0].Rules
	want := []service.Task{
		{
			Name: "oil", Kind: service.Oil, RunTime: 4000 * time.Hour, FirstRunTime: 500 * time.Hour, Calendar: 365 * 24 * time.Hour, DueSoon: 0.9, Overdue: 1.1, Waste: 0.25,
			Aged: true, Warm: service.Warm{Base: 70, Step: 10}, Parts: "12 L of ISO VG 100 hydraulic oil, drain plug gasket", Minutes: 45, Oil: 12,
		},
		{
			Name: "valves", Kind: service.Valves, Positions: pump.Geometry{Cylinders: 3}.Valves(), Strokes: 7e7, Pressure: service.Pressure{Reference: 10e6, Exponent: 1},
			DueSoon: 0.9, Overdue: 1.1, Waste: 0.25, Parts: "6 valve cartridges with seat O-rings",
		},
		{
			Name: "diaphragms", Kind: service.Diaphragms, Positions: []pump.Position{{Cylinder: 1}, {Cylinder: 2}, {Cylinder: 3}},
			Table:   service.Table{{Speed: 250, Pressure: 8e6, Temperature: 70, RunTime: 12000 * time.Hour}, {RunTime: 8000 * time.Hour}},
			DueSoon: 0.9, Overdue: 1.1, Waste: 0.25,
		},
	}
	if d := cmp.Diff(want, set.Tasks, cmp.Comparer(func(a, b float64) bool { return math.Abs(a-b) <= 1e-12*math.Abs(b) })); d != "" {
		t.Errorf("tasks (-want +got):\n%s", d)
	}
	if j := set.Judging; math.Abs(float64(j.NoFlowBelow)-0.2e-3/60) > 1e-15 || j.RatedSpeed != 320 || j.StartsPerHour != 6 || j.TooColdBelow != 10 || j.SuctionRise != 50e3 {
		t.Errorf("judging: %+v", j)
	}
	if set.Trend != (trend.Settings{Recent: time.Hour}) {
		t.Errorf("trend: %+v", set.Trend)
	}
}

// TestZeroIsASetting: where rules take a zero for their default, a zero that
// somebody wrote must not become it.
func TestZeroIsASetting(t *testing.T) {
	good, err := os.ReadFile("testdata/good.yaml")
	if err != nil {
		t.Fatal(err)
	}
	text := strings.Replace(string(good), "    services:", "    judging: {too_cold_below: 0 °C, warm_at: 0 °C}\n    services:", 1) + "store: {seconds_for: 0 s}\n"
	c, err := Load("good.yaml", []byte(text))
	if err != nil {
		t.Fatal(err)
	}
	set := c.Pumps[0].Rules
	if math.Abs(float64(set.Judging.TooColdBelow)) > 1e-6 || math.Abs(float64(set.Judging.WarmAt)) > 1e-6 || set.Trend.Recent >= 0 {
		t.Errorf("judging %+v, trend %+v", set.Judging, set.Trend)
	}
}

func TestTemperatureDifferencesHaveNoOffset(t *testing.T) {
	for _, text := range []string{"5 °C", "5 K", "9 °F"} {
		if x, err := difference(text, quantity.Temperature); err != nil || math.Abs(x-5) > 1e-9 {
			t.Errorf("%s is a difference of %v K (%v), want 5", text, x, err)
		}
	}
}

func TestAlarmsSwitchedOffAreNotEvaluated(t *testing.T) {
	good, err := os.ReadFile("testdata/good.yaml")
	if err != nil {
		t.Fatal(err)
	}
	text := strings.Replace(string(good), "    services:", "    alarms:\n      suction_pressure_bad: {off: true}\n      reverse_flow: {on_delay: 40 s}\n    services:", 1)
	c, err := Load("good.yaml", []byte(text))
	if err != nil {
		t.Fatal(err)
	}
	found := false
	for _, d := range c.Pumps[0].Rules.Definitions() {
		if d.Name == "suction_pressure_bad" {
			t.Error("suction_pressure_bad is still there")
		}
		if d.Name == "reverse_flow" {
			found = d.OnDelay == 40*time.Second
		}
	}
	if !found {
		t.Error("reverse_flow does not wait for 40 s")
	}
}

// Wire times by MODBUS over Serial Line V1.02, §2.5.1: 11 bits a character,
// t3.5 = 3.5 characters up to 19200 baud.
func TestBusLoadIsWhatTheRequestsTakeOnTheWire(t *testing.T) {
	good, err := os.ReadFile("testdata/good.yaml")
	if err != nil {
		t.Fatal(err)
	}
	c, err := Load("good.yaml", good)
	if err != nil {
		t.Fatal(err)
	}
	// Every second: input 0..8 in one request (13 + 18 bytes; the temperature
	// between comes along) and one discrete input (13 + 1); a turnaround of one
	// t3.5 each. Every 30 s: the temperature (13 + 2).
	character := 11.0 / 19200
	gap := 38.5 / 19200
	routine := (31+14)*character + 2*3*gap
	slow := (15*character + 3*gap) / 30
	got := c.BusLoads()[1]
	if got.Bus != "skid" || got.Requests != 3 || math.Abs(got.Routine-routine) > 1e-6 || math.Abs(got.Slow-slow) > 1e-6 || got.Fast != 0 {
		t.Errorf("load %+v, want routine %.6f, slow %.6f in 3 requests", got, routine, slow)
	}
}

func TestSummarySaysWhatIsMissing(t *testing.T) {
	c := reference0(t)
	var b strings.Builder
	for _, s := range c.Summaries() {
		fmt.Fprintf(&b, "%s: %s\n", s.Pump, strings.Join(s.Mapped, " "))
		for _, m := range s.Missing {
			fmt.Fprintf(&b, "  no %s: %s\n", m.Wanted, m.Cost)
		}
	}
	const want = `gp-1: drive_status drive_fault_code motor_speed motor_current motor_power drive_run_hours suction_pressure discharge_pressure glycol_flow glycol_volume glycol_temperature glycol_level diaphragm_leak shaft_index oil-low contactor_pressure gas_flow gas_temperature circulation_demand
  no oil_level_switch or hydraulic_oil_level: low oil of the hydraulic end cannot be seen
  no control_power: lost power looks like devices that do not answer
gp-2: drive_status motor_speed motor_power drive_run_hours suction_pressure discharge_pressure diaphragm_leak contactor_pressure gas_flow gas_temperature glycol_level circulation_demand
  no drive_fault_code: the fault of the drive has no name
  no glycol_flow or glycol_flow_switch: lost flow and failed priming cannot be seen
  no glycol_flow or glycol_volume: pumped volume is reckoned from revolutions and counting.volumetric_efficiency, so that wear does not show in it
  no glycol_temperature: glycol that is too cold to pump cannot be seen
  no oil_level_switch or hydraulic_oil_level: low oil of the hydraulic end cannot be seen
  no control_power: lost power looks like devices that do not answer
  no shaft_index and index_angle and cylinder_1: no finding can name a cylinder
`
	if d := cmp.Diff(want, b.String()); d != "" {
		t.Errorf("summaries (-want +got):\n%s", d)
	}
}

// Only an index of one pulse a turn tells the angle; whoever has another is not
// left to find out.
func TestSummaryAsksForAnIndexOfOnePulse(t *testing.T) {
	text, err := os.ReadFile("examples/shaft-index.yaml")
	if err != nil {
		t.Fatal(err)
	}
	for pulses, want := range map[string]string{"1": "", "3": "shaft_index of one pulse a turn"} {
		c, err := Load("shaft-index.yaml", []byte(strings.Replace(string(text), "pulses_per_revolution: 1 ", "pulses_per_revolution: "+pulses+" ", 1)))
		if err != nil {
			t.Fatal(err)
		}
		got := ""
		for _, m := range c.Summaries()[0].Missing {
			if m.Cost == "no finding can name a cylinder" {
				got = m.Wanted
			}
		}
		if got != want {
			t.Errorf("%s pulses a turn: the summary asks for %q, want %q", pulses, got, want)
		}
	}
}

// TestProblemsOfAnyOneMistakeStandInTheFile damages good.yaml in one place
// after the other.
func TestProblemsOfAnyOneMistakeStandInTheFile(t *testing.T) {
	good, err := os.ReadFile("testdata/good.yaml")
	if err != nil {
		t.Fatal(err)
	}
	lines := strings.Split(strings.TrimSuffix(string(good), "\n"), "\n")
	check := func(i int, with string) {
		text := strings.Join(slices.Concat(lines[:i], []string{with}, lines[i+1:]), "\n")
		_, err := Load("good.yaml", []byte(text))
		problems, _ := errors.AsType[Problems](err)
		for j, p := range problems {
			switch {
			case p.Line < 0 || p.Line > len(lines) || p.Line > 0 && p.Column < 1:
				t.Errorf("line %d as %q: %v is not in the file", i+1, with, p)
			case p.Text == "" || strings.Contains(p.Text, "%!"):
				t.Errorf("line %d as %q: %v has no good text", i+1, with, p)
			case j > 0 && p.Line < problems[j-1].Line:
				t.Errorf("line %d as %q: %v comes after line %d", i+1, with, p, problems[j-1].Line)
			}
		}
	}
	for i, line := range lines {
		check(i, "")
		key, value, _ := strings.Cut(line, ": ")
		for _, other := range []string{"", "x", "-1", "0", "[]", "{}", "null", "[x, y]", "{x: y}", "'" + strings.ReplaceAll(value, "'", "") + "'"} {
			check(i, key+": "+other)
		}
	}
}

func FuzzLoad(f *testing.F) {
	good, err := os.ReadFile("testdata/good.yaml")
	if err != nil {
		f.Fatal(err)
	}
	f.Add(good)
	f.Add(Reference)
	f.Add([]byte("a: &x [*x]\n"))
	archives, _ := filepath.Glob("testdata/*.txtar")
	for _, name := range archives {
		archive, err := txtar.ParseFile(name)
		if err != nil {
			f.Fatal(err)
		}
		for _, file := range archive.Files {
			_, text := edited(f, string(good), string(file.Data))
			f.Add([]byte(text))
		}
	}
	f.Fuzz(func(t *testing.T, text []byte) {
		c, err := Load("plant.yaml", text)
		if problems, ok := errors.AsType[Problems](err); c == nil && (!ok || len(problems) == 0) {
			t.Errorf("neither a configuration nor problems: %v", err)
		}
		if c != nil {
			c.Summaries()
		}
	})
}

func TestPumpsInNoGroupAreKnownToTheSite(t *testing.T) {
	text, err := os.ReadFile("testdata/good.yaml")
	if err != nil {
		t.Fatal(err)
	}
	c, err := Load("good.yaml", text)
	if err != nil {
		t.Fatal(err)
	}
	if want := []string{"gp-1"}; !slices.Equal(c.Rules.Alone, want) {
		t.Errorf("%v are in no group, want %v", c.Rules.Alone, want)
	}
}

// Power that goes comes to all pumps at once: where several are in no group the
// site calls for them.
func TestTheSiteCallsForThePowerOfSeveralPumps(t *testing.T) {
	for _, name := range []string{"one", "six-pumps-serial-server"} {
		file := "testdata/good.yaml"
		if name != "one" {
			file = "examples/" + name + ".yaml"
		}
		text, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		if before, groups, has := strings.Cut(string(text), "\ngroups:"); has {
			_, after, _ := strings.Cut(groups, "\nmqtt:")
			text = []byte(before + "\nmqtt:" + after)
		}
		c, err := Load(file, text)
		if err != nil {
			t.Fatal(err)
		}
		several := len(c.Pumps) > 1
		for _, p := range c.Pumps {
			if p.Rules.Standing.OneOfSeveral != several {
				t.Errorf("%s: %s leaves the call to the site: %v", name, p.ID, !several)
			}
		}
		n := 0
		for _, d := range c.Rules.Definitions() {
			if d.Text == "pump_power_lost" {
				n++
			}
		}
		if several && n != len(c.Pumps) || !several && n != 0 {
			t.Errorf("%s: the site has %d alarms of power, of %d pumps", name, n, len(c.Pumps))
		}
	}
}

func TestLoadGivesGroups(t *testing.T) {
	c := reference0(t)
	if d := cmp.Diff([]Group{{ID: "north", Title: "north circulation"}}, c.Groups); d != "" {
		t.Errorf("groups (-want +got):\n%s", d)
	}
	want := []site.Group{{
		ID: "north", Pumps: []string{"gp-1", "gp-2"}, Required: 1, NoFlow: 0.2e-3 / 60, Target: 14e-3 / 60, Pause: 20 * time.Minute,
		Drying:   site.Drying{WaterOut: 110e-6, Ratio: 0.025},
		Exercise: 30 * day, ChangeOver: 14 * day,
	}}
	if d := cmp.Diff(want, c.Rules.Groups, cmp.Comparer(func(a, b quantity.CubicMetersPerSecond) bool { return math.Abs(float64(a-b)) < 1e-12 }), cmp.Comparer(func(a, b quantity.KilogramsPerCubicMeter) bool { return math.Abs(float64(a-b)) < 1e-12 })); d != "" {
		t.Errorf("what is judged of them (-want +got):\n%s", d)
	}
	if len(c.Rules.Alone) > 0 {
		t.Errorf("%v are in no group", c.Rules.Alone)
	}
	var night []string
	for _, d := range c.Pumps[1].Rules.Definitions() {
		if d.Class == alarm.Alarm && d.Notify != alarm.Now {
			night = append(night, d.Name)
		}
	}
	if d := cmp.Diff([]string{"stopped_longer_than_usual", "drive_fault", "reverse_flow"}, night, cmpopts.SortSlices(func(a, b string) bool { return a < b })); d != "" {
		t.Errorf("alarms of a pump in a group that wait for the working day (-want +got):\n%s", d)
	}
}
