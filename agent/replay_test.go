package main

import (
	"bytes"
	"compress/gzip"
	"fmt"
	"io"
	"math"
	"strings"
	"testing"
	"time"

	"pumpside/configs"
)

// playedConfig is the configuration of one simulated skid.
func playedConfig(t testing.TB) *configs.Config {
	t.Helper()
	var text strings.Builder
	err := writeSkids(&text, skidSite{
		ID: "bench", Title: "Bench", Skids: []skidPump{{ID: "gp-1", Tag: "GP-1", Bus: "tcp: 127.0.0.1:5020", Drive: 1, Module: 2}},
		Metrics: "off", Page: "off", Store: "bench.db", Save: "1 min", Log: "error",
	})
	if err != nil {
		t.Fatal(err)
	}
	config, err := configs.Load("bench.yaml", []byte(text.String()))
	if err != nil {
		t.Fatal(err)
	}
	return config
}

// recordedLife is a pump's ten minutes: it runs, its flow stops for two minutes, it goes on.
func recordedLife() string {
	var b strings.Builder
	b.WriteString("# config other\nkind,time,boot,since_boot_s,pump,signal,value,quality,reason\n")
	noon := time.Date(2026, 3, 1, 12, 0, 0, 0, time.UTC)
	for s := range 600 {
		head := fmt.Sprintf("%s,boot-a,%d,gp-1", noon.Add(time.Duration(s)*time.Second).Format(time.RFC3339), 3600+s)
		flow := 20.0 / 60e3
		if s >= 200 && s < 320 {
			flow = 0
		}
		fmt.Fprintf(&b, "reading,%s,drive_status,2,good,\nreading,%s,motor_speed,1450,good,\nreading,%s,motor_power,2900,good,\n", head, head, head)
		fmt.Fprintf(&b, "reading,%s,glycol_flow,%v,good,\nreading,%s,glycol_temperature,80,good,\n", head, flow, head)
		if s == 400 {
			fmt.Fprintf(&b, "command,%s,\"{\"\"command_id\"\":\"\"c1\"\",\"\"user\"\":\"\"anna\"\",\"\"verb\"\":\"\"acknowledge\"\",\"\"alarm\"\":\"\"no_flow\"\"}\"\n", head)
		}
		if s%10 == 0 {
			fmt.Fprintf(&b, "tick,%s\n", head)
		}
	}
	return b.String()
}

// replayed gives what a file makes the rules say.
func replayed(t testing.TB, config *configs.Config, in io.Reader, skip bool) (out, notes string, err error) {
	t.Helper()
	var o, n bytes.Buffer
	p := player{config: config, words: wordsOf(config), out: &o, notes: &n, skip: skip}
	err = p.playAll([]string{"-"}, func(string) (io.ReadCloser, error) { return io.NopCloser(in), nil })
	return o.String(), n.String(), err
}

func TestTheSameFileReplaysTheSame(t *testing.T) {
	config := playedConfig(t)
	first, notes, err := replayed(t, config, strings.NewReader(recordedLife()), false)
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"raised       no_flow", "acknowledged no_flow"} {
		if !strings.Contains(first, want) {
			t.Errorf("no %q in\n%s", want, first)
		}
	}
	if !strings.Contains(notes, "recorded under configuration other") || !strings.Contains(notes, "3000 readings, ") {
		t.Errorf("notes: %s", notes)
	}
	var packed bytes.Buffer
	z := gzip.NewWriter(&packed)
	io.WriteString(z, recordedLife())
	z.Close()
	if again, _, err := replayed(t, config, &packed, false); err != nil || again != first {
		t.Errorf("packed: %v\n%s", err, again)
	}
}

// One pump begins where another life ended.
func TestAReplayBeginsWithTheStateOfTheFile(t *testing.T) {
	config := playedConfig(t)
	_, _, err := replayed(t, config, strings.NewReader("# state gp-1 {\"version\":99}\n"+recordedLife()), false)
	if err == nil || !strings.Contains(err.Error(), "pump gp-1: state has version 99") {
		t.Errorf("error = %v", err)
	}
}

func TestBadLinesAreToldWithTheirNumber(t *testing.T) {
	config := playedConfig(t)
	const header = "kind,time,boot,since_boot_s,pump,signal,value,quality,reason\n"
	const plain = "time,pump,signal,value\n"
	good := "reading,2026-03-01T12:00:00Z,a,10,gp-1,motor_speed,1450,good,\n"
	for _, tt := range []struct{ name, text, want string }{
		{"no header", good, "line 1: \"reading,2026-03-01T12:00:00Z,a,10,gp-1,motor_speed,1450,good,\" is no header"},
		{"empty", "", "there is no header"},
		{"no such signal", header + strings.ReplaceAll(good, "motor_speed", "engine"), `line 2: there is no signal "engine"`},
		{"no number", header + strings.ReplaceAll(good, "1450", "fast"), `line 2: value "fast" is no number`},
		{"no such quality", header + strings.ReplaceAll(good, "good", "fine"), `line 2: "fine" is not a quality`},
		{"too short", header + good + "reading,2026-03-01T12:00:00Z,a,10\n", "line 3: too few fields"},
		{"time goes back", header + good + strings.ReplaceAll(good, ",10,", ",9,"), "line 3: time goes back by 1s; rows must ascend"},
		{"no such kind", header + strings.ReplaceAll(good, "reading", "writing"), `line 2: kind "writing" is not reading, command, group or tick`},
		{"no time", header + "tick,,,1,gp-1\n", `line 2: "" is no time`},
		{"only a mark before no time", header + "tick,~,a,1,gp-1\n", `line 2: "~" is no time`},
		{"no time in a plain file", plain + ",gp-1,motor_speed,1450\n", `line 2: "" is no time`},
		{"seconds that are no number", plain + "NaN,gp-1,motor_speed,1450\n", `line 2: "NaN" is no time`},
		{"more seconds than a time holds", plain + "1e300,gp-1,motor_speed,1450\n", `line 2: "1e300" is no time`},
		{"time goes back after a tick", header + good + "tick,2026-03-01T12:00:02Z,a,12,gp-1\n" + good, "line 4: time goes back by 2s; rows must ascend"},
		{"no such pump", header + strings.ReplaceAll(good, "gp-1", "gp-9"), `before line 2: there is no pump "gp-9" in the configuration`},
	} {
		_, _, err := replayed(t, config, strings.NewReader(tt.text), false)
		if err == nil || !strings.HasPrefix(err.Error(), tt.want) {
			t.Errorf("%s: error = %v, want %s", tt.name, err, tt.want)
		}
		if !strings.Contains(tt.want, "header") {
			if _, notes, err := replayed(t, config, strings.NewReader(tt.text), true); err != nil || !strings.Contains(notes, tt.want) || !strings.Contains(notes, "1 lines skipped") {
				t.Errorf("%s, skipping: %v, notes %s", tt.name, err, notes)
			}
		}
	}
}

func TestAPlainFileIsReplayed(t *testing.T) {
	var b strings.Builder
	b.WriteString("time,pump,signal,value\n")
	for s := range 300 {
		fmt.Fprintf(&b, "%d,gp-1,drive_status,2\n%d,gp-1,motor_speed,1450\n%d,gp-1,glycol_flow,0\n", s, s, s)
	}
	out, _, err := replayed(t, playedConfig(t), strings.NewReader(b.String()), false)
	if err != nil || !strings.Contains(out, "no_flow") {
		t.Errorf("%v\n%s", err, out)
	}
}

func FuzzReadingsFile(f *testing.F) {
	f.Add(recordedLife()[:2000])
	f.Add("time,pump,signal,value\n1,gp-1,motor_speed,3\n")
	config := playedConfig(f)
	f.Fuzz(func(t *testing.T, text string) {
		_, _, _ = replayed(t, config, strings.NewReader(text), true)
	})
}

// BenchmarkReplay tells readings a second without orders: 20 readings a row of
// one instant, and with: pressure at 50 Hz.
func BenchmarkReplay(b *testing.B) {
	config := playedConfig(b)
	routine := []string{
		"drive_status,2", "drive_fault_code,0", "motor_speed,1450", "drive_frequency,49", "motor_current,8", "motor_torque,20", "motor_power,2900", "drive_run_hours,1800000",
		"suction_pressure,30000", "glycol_flow,0.000333", "glycol_volume,12.5", "glycol_temperature,80", "glycol_level,0.5", "hydraulic_oil_temperature,60", "oil_level_switch,0",
		"diaphragm_leak,0", "ambient_temperature,20", "contactor_pressure,6900000", "strainer_differential_pressure,5000", "filter_differential_pressure,20000",
	}
	for _, bb := range []struct {
		name string
		text func(int) string
	}{
		{"routine", func(i int) string {
			var b strings.Builder
			for _, r := range routine {
				fmt.Fprintf(&b, "reading,2026-03-01T12:00:00Z,a,%d,gp-1,%s,good,\n", 3600+i, r)
			}
			return b.String()
		}},
		{"pressure", func(i int) string {
			at := float64(i) * 0.0203
			p := 7e6 + 6e4*math.Cos(2*math.Pi*15*at) + 8e3*math.Cos(2*math.Pi*5*at) + 1e4*math.Sin(float64(i*i))
			text := fmt.Sprintf("reading,2026-03-01T12:00:00Z,a,%.4f,gp-1,discharge_pressure,%.0f,good,\n", 3600+at, p)
			if i%50 == 0 {
				text = fmt.Sprintf("reading,2026-03-01T12:00:00Z,a,%.4f,gp-1,drive_status,2,good,\nreading,2026-03-01T12:00:00Z,a,%.4f,gp-1,motor_speed,1450,good,\n", 3600+at, 3600+at) + text
			}
			return text
		}},
	} {
		var text strings.Builder
		text.WriteString("kind,time,boot,since_boot_s,pump,signal,value,quality,reason\n")
		for i := range 20000 {
			text.WriteString(bb.text(i))
		}
		b.Run(bb.name, func(b *testing.B) {
			n := 0
			for b.Loop() {
				p := player{config: config, words: wordsOf(config), out: io.Discard, notes: io.Discard}
				if err := p.play(strings.NewReader(text.String())); err != nil {
					b.Fatal(err)
				}
				n += p.readings
			}
			b.ReportMetric(float64(n)/b.Elapsed().Seconds(), "readings/s")
		})
	}
}
