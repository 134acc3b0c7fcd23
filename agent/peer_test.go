package main

import (
	"fmt"
	"maps"
	"math"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
)

// peerPoints are the values that testdata/peer/server.c serves: how they are
// configured, and what metrics must show. NaN stands for no series.
var peerPoints = []struct {
	signal, point string
	family        string
	want          float64
}{
	{"drive_status", "table: holding, address: 0, type: status_402", "running", 1},
	{"motor_speed", "doc: 40002, type: int16, unit: rpm", "motor_speed_revolutions_per_minute", 1450},
	{"drive_heatsink_temperature", "table: holding, address: 2, type: int16, scale: 0.1, unit: °C", "drive_heatsink_temperature_celsius", -12.5},
	{"drive_run_hours", "table: holding, address: 3, type: uint32, word_order: CDAB, unit: h", "drive_run_seconds", 123456 * 3600},
	{"motor_power", "table: holding, address: 5, type: float32, word_order: ABCD, unit: kW", "motor_power_watts", 3750},
	{"motor_current", "table: holding, address: 7, type: float32, word_order: DCBA, unit: A", "motor_current_amperes", 7.25},
	{"drive_frequency", "table: holding, address: 9, type: bcd16, scale: 0.01, unit: Hz", "drive_frequency_hertz", 49.5},
	{"bypass_valve", "table: holding, address: 10, type: bit 5", "bypass_valve", 1},
	{"discharge_pressure", "doc: 30001, type: float32, word_order: BADC, unit: bar", "discharge_pressure_pascals", 7.05e6},
	{"glycol_flow", "table: input, address: 2, type: float32, word_order: CDAB, unit: L/min", "glycol_flow_cubic_meters_per_second", 22.5 / 60000},
	{"suction_pressure", "table: input, address: 4, type: int32, word_order: ABCD, unit: Pa", "suction_pressure_pascals", -25000},
	{"glycol_level", `table: input, address: 6, type: uint16, scale: 0.001, loop: [0 %, 100 %]`, "glycol_level_ratio", 0.5},
	{"glycol_volume", "table: input, address: 7, type: float64, word_order: ABCD, unit: L", "glycol_volume_cubic_meters", 12.345678},
	{"hydraulic_oil_temperature", `table: input, address: 11, type: int16, unit: °C, not_available: ["0x8000"]`, "hydraulic_oil_temperature_celsius", math.NaN()},
	{"glycol_temperature", "table: input, address: 12, type: bcd32, word_order: ABCD, scale: 0.1, unit: °C", "glycol_temperature_celsius", 81.2},
	{"contactor_auxiliary", "table: coil, address: 3, type: bool", "contactor_auxiliary", 1},
	{"diaphragm_leak", "table: discrete, address: 5, type: bool", "diaphragm_leak", 0},
	{"permissive", "table: discrete, address: 6, type: bool", "permissive", 1},
}

// peerConfig writes a configuration that reads peerPoints over a bus.
func peerConfig(t *testing.T, bus string) string {
	t.Helper()
	path := filepath.Join(folder(t), "pumpside.yaml")
	var b strings.Builder
	fmt.Fprintf(&b, "site: {id: peer, clock: trusted}\nbuses:\n  - {id: line, %s}\ndevices:\n  - id: peer\n    bus: line\n    unit: 17\n    points:\n", bus)
	for _, p := range peerPoints {
		fmt.Fprintf(&b, "      - {name: %s, %s}\n", p.signal, p.point)
	}
	b.WriteString(`pumps:
  - id: gp-1
    mechanism: {crank: {rod_ratio: 5, discharge: away}}
    bore: 40 mm
    stroke: 30 mm
    ratio: 4.9
    motor: {rated_speed: 1460 rpm}
    rated_speed: 320 rpm
    rated_pressure: 12 MPa
    counting: {witness: {power: 1 kW}}
    signals:
`)
	for _, p := range peerPoints {
		fmt.Fprintf(&b, "      %s: peer.%s\n", p.signal, p.signal)
	}
	fmt.Fprintf(&b, "metrics: {listen: \"127.0.0.1:0\"}\npage: {listen: off}\nstore: {path: %q}\n", filepath.Join(filepath.Dir(path), "pumpside.db"))
	writeFile(t, path, b.String())
	return path
}

// buildPeer compiles the server with the libmodbus of this machine.
func buildPeer(t *testing.T) string {
	t.Helper()
	compiler := need(t, "gcc")
	if _, err := os.Stat("/usr/include/modbus/modbus.h"); err != nil {
		if os.Getenv("CI") == "true" {
			t.Fatal("libmodbus is not installed, and CI needs it")
		}
		t.Skip("libmodbus is not installed")
	}
	binary := filepath.Join(t.TempDir(), "server")
	out, err := exec.Command(compiler, "-Wall", "-Wextra", "-Werror", "-I/usr/include/modbus", "-o", binary, "testdata/peer/server.c", "-lmodbus").CombinedOutput()
	if err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	return binary
}

// joinedLines are two serial devices that are the ends of one line.
func joinedLines(t *testing.T) (a, b string) {
	t.Helper()
	at := folder(t)
	a, b = filepath.Join(at, "a"), filepath.Join(at, "b")
	start(t, need(t, "socat"), "pty,raw,echo=0,link="+a, "pty,raw,echo=0,link="+b)
	eventually(t, "the line is there", func() bool {
		_, errA := os.Stat(a)
		_, errB := os.Stat(b)
		return errA == nil && errB == nil
	})
	return a, b
}

func TestPeerLibmodbusIsReadByTheAgent(t *testing.T) {
	if testing.Short() {
		t.Skip("compiles a C program")
	}
	t.Parallel()
	server := buildPeer(t)
	for _, way := range []struct {
		name  string
		serve func(t *testing.T) (bus string)
	}{
		{"over TCP", func(t *testing.T) string {
			address := freeAddress(t)
			_, port, _ := net.SplitHostPort(address)
			start(t, server, "tcp", port).await(t, "ready")
			return "tcp: " + address
		}},
		{"over RTU", func(t *testing.T) string {
			far, near := joinedLines(t)
			start(t, server, "rtu", far, "19200").await(t, "ready")
			return "rtu: {path: " + near + ", baud: 19200, parity: even, stop_bits: 1}"
		}},
	} {
		t.Run(way.name, func(t *testing.T) {
			_, metrics := startAgent(t, peerConfig(t, way.serve(t)))
			var got page
			eventually(t, "every value is shown", func() bool {
				got = scrape(t, metrics)
				_, all := got[`pumpside_glycol_temperature_celsius{pump="gp-1"}`]
				return all && got[`pumpside_running{pump="gp-1"}`] == 1
			})
			for _, p := range peerPoints {
				series := "pumpside_" + p.family + `{pump="gp-1"}`
				value, shown := got[series]
				if shown == math.IsNaN(p.want) || shown && math.Abs(value-p.want) > 1e-6*math.Abs(p.want) {
					t.Errorf("%s: %v (shown: %t), want %v", series, value, shown, p.want)
				}
			}
			for series, value := range got {
				const waiting = `reason="settling"` // a serial line just opened is drained first
				if strings.HasPrefix(series, "pumpside_modbus_request_failures_total{") && value != 0 && !strings.Contains(series, waiting) {
					t.Errorf("%s is %v", series, value)
				}
			}
		})
	}
}

// mbpoll reads n values and gives them by reference, and what it said.
func mbpoll(t *testing.T, args ...string) (values map[int]float64, said string) {
	t.Helper()
	out, err := exec.Command(need(t, "mbpoll"), append([]string{"-1", "-0", "-o", "5"}, args...)...).CombinedOutput()
	values = map[int]float64{}
	for _, m := range mbpollLine.FindAllStringSubmatch(string(out), -1) {
		at, _ := strconv.Atoi(m[1])
		values[at], _ = strconv.ParseFloat(m[2], 64)
	}
	return values, fmt.Sprintf("%v\n%s", err, out)
}

// mbpollLine is such as "[3]: 	65535 (-1)" or "[16]: 	7012.5".
var mbpollLine = regexp.MustCompile(`(?m)^\[(\d+)\]:\s+(?:\d+ \()?(-?[0-9.e+-]+)`)

func TestPeerMbpollReadsTheSimulator(t *testing.T) {
	need(t, "mbpoll")
	t.Parallel()
	simulated := start(t, "pumpside", "simulate", "--stopped", "--skids", "2", "--tcp", "127.0.0.1:0", "--pty", "--baud", "115200")
	address := simulated.await(t, `Modbus TCP at (\S+)`)[1]
	device := simulated.await(t, `RTU on (\S+)`)[1]
	_, port, _ := net.SplitHostPort(address)
	for _, way := range []struct {
		name string
		to   []string // and from
	}{
		{"over TCP", []string{"-m", "tcp", "-p", port, "127.0.0.1"}},
		{"over RTU", []string{"-m", "rtu", "-b", "115200", "-P", "even", device}},
	} {
		t.Run(way.name, func(t *testing.T) {
			for _, read := range []struct {
				what   string
				args   []string
				want   map[int]float64
				within float64
			}{
				{"selector at auto", []string{"-a", "1", "-t", "4", "-r", "14"}, map[int]float64{14: 2}, 0},
				{"no fault", []string{"-a", "1", "-t", "4", "-r", "1"}, map[int]float64{1: 0}, 0},
				{"motor stands", []string{"-a", "3", "-t", "4", "-r", "3"}, map[int]float64{3: 0}, 2},
				{"run hours, low word first", []string{"-a", "1", "-t", "4:int", "-r", "8"}, map[int]float64{8: 0}, 0},
				{"run command off", []string{"-a", "1", "-t", "0", "-r", "0"}, map[int]float64{0: 0}, 0},
				{"discrete inputs", []string{"-a", "2", "-t", "1", "-r", "0", "-c", "9"}, map[int]float64{0: 0, 1: 0, 2: 1, 3: 0, 4: 0, 5: 1, 6: 0, 7: 1, 8: 0}, 0},
				{"no flow, high word first", []string{"-a", "2", "-t", "3:float", "-B", "-r", "4"}, map[int]float64{4: 0}, 0.5},
				{"contactor pressure in kPa, low word first", []string{"-a", "4", "-t", "3:float", "-r", "16"}, map[int]float64{16: 7000}, 100},
				{"glycol at ambient in 0.1 °C", []string{"-a", "2", "-t", "3", "-r", "10"}, map[int]float64{10: 200}, 5},
			} {
				got, said := mbpoll(t, append(read.args, way.to...)...)
				if !maps.EqualFunc(got, read.want, func(a, b float64) bool { return math.Abs(a-b) <= read.within }) {
					t.Errorf("%s: %v, want %v\n%s", read.what, got, read.want, said)
				}
			}
			if _, said := mbpoll(t, append([]string{"-a", "1", "-t", "4", "-r", "17"}, way.to...)...); !strings.Contains(said, "Illegal data address") {
				t.Errorf("a register that is not there: %s", said)
			}
			if _, said := mbpoll(t, append(append([]string{"-a", "1", "-t", "4", "-r", "1"}, way.to...), "5")...); !strings.Contains(said, "Illegal function") {
				t.Errorf("writing a register: %s", said)
			}
		})
	}
}
