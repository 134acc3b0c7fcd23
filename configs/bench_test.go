package configs

import (
	"fmt"
	"strings"
	"testing"

	"github.com/goccy/go-yaml/parser"
)

// plant writes a configuration of many pumps with 20 points each, on one bus a
// pump. With shared, the points stand once, under an anchor.
func plant(pumps int, shared bool) []byte {
	roles := []string{
		"motor_speed: int16 rpm", "drive_frequency: uint16 Hz", "motor_current: uint16 A", "motor_torque: int16 N·m", "motor_power: int16 W",
		"drive_heatsink_temperature: int16 °C", "suction_pressure: int16 kPa", "discharge_pressure: int16 kPa", "glycol_flow: uint16 L/min",
		"glycol_temperature: int16 °C", "glycol_level: uint16 %", "strainer_differential_pressure: int16 kPa", "filter_differential_pressure: int16 kPa",
		"hydraulic_oil_temperature: int16 °C", "hydraulic_oil_level: uint16 %", "ambient_temperature: int16 °C", "contactor_pressure: int16 kPa",
		"gas_flow: uint16 m³/h", "gas_pressure: int16 kPa", "gas_temperature: int16 °C",
	}
	var b strings.Builder
	b.WriteString("site: {id: plant}\nbuses:\n")
	for i := range pumps {
		fmt.Fprintf(&b, "  - {id: bus-%d, tcp: \"127.0.0.1:%d\"}\n", i, 10000+i)
	}
	b.WriteString("devices:\n")
	for i := range pumps {
		fmt.Fprintf(&b, "  - id: skid-%d\n    bus: bus-%d\n", i, i)
		switch {
		case shared && i > 0:
			b.WriteString("    points: *points\n")
			continue
		case shared:
			b.WriteString("    points: &points\n")
		default:
			b.WriteString("    points:\n")
		}
		for j, role := range roles {
			name, encoding, _ := strings.Cut(role, ": ")
			kind, unit, _ := strings.Cut(encoding, " ")
			fmt.Fprintf(&b, "      - {name: %s, table: holding, address: %d, type: %s, scale: 0.1, unit: %s}\n", name, j, kind, unit)
		}
	}
	b.WriteString("pumps:\n")
	for i := range pumps {
		fmt.Fprintf(&b, "  - id: pump-%d\n    mechanism: {sine: true}\n    bore: 40 mm\n    stroke: 30 mm\n    ratio: 1\n    motor: {rated_speed: 970 rpm}\n    rated_speed: 1000 rpm\n    rated_pressure: 10 MPa\n    signals:\n", i)
		for _, role := range roles {
			name, _, _ := strings.Cut(role, ": ")
			fmt.Fprintf(&b, "      %s: skid-%d.%s\n", name, i, name)
		}
	}
	return []byte(b.String())
}

func TestManyPumpsLoad(t *testing.T) {
	for _, shared := range []bool{false, true} {
		c, err := Load("plant.yaml", plant(50, shared))
		if err != nil {
			t.Fatalf("shared points %v: %v", shared, err)
		}
		if len(c.Pumps) != 50 || len(c.Pumps[49].Rules.Signals) != 20 || len(c.BusLoads()) != 50 {
			t.Errorf("shared points %v: %d pumps, %d loads", shared, len(c.Pumps), len(c.BusLoads()))
		}
	}
}

// BenchmarkLoad also gives the share of the YAML parser alone.
func BenchmarkLoad(b *testing.B) {
	for _, shared := range []bool{true, false} {
		text := plant(500, shared)
		b.Run(fmt.Sprintf("pumps=500/shared=%v", shared), func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				if _, err := Load("plant.yaml", text); err != nil {
					b.Fatal(err)
				}
			}
		})
		b.Run(fmt.Sprintf("pumps=500/shared=%v/parser=alone", shared), func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				if _, err := parser.ParseBytes(text, 0); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
