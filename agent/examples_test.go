package main

import (
	"context"
	"fmt"
	"net"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"pumpside/configs"
	"pumpside/simulator"
)

// TestExamplesRunAgainstSimulatedSkids runs the agent on each example with
// nothing changed but addresses: every device answers, every pump is seen to
// run, and its strokes are counted.
func TestExamplesRunAgainstSimulatedSkids(t *testing.T) {
	paths, err := filepath.Glob("../configs/examples/*.yaml")
	if err != nil || len(paths) == 0 {
		t.Fatal(paths, err)
	}
	for _, path := range paths {
		t.Run(strings.TrimSuffix(filepath.Base(path), ".yaml"), func(t *testing.T) {
			t.Parallel()
			text := readFile(t, path)
			example, err := configs.Load(path, []byte(text))
			if err != nil {
				t.Fatal(err)
			}
			folder := t.TempDir()
			config := filepath.Join(folder, "pumpside.yaml")
			writeFile(t, config, onSimulation(t, text, skidUnits(skids(t, len(example.Pumps))))+
				fmt.Sprintf("store: {path: %q, save_interval: 1 s}\npage: {listen: \"off\"}\n", filepath.Join(folder, "pumpside.db")))
			_, metrics := startAgent(t, config)
			eventually(t, "every device answers and every pump runs and counts", func() bool {
				now := scrape(t, metrics)
				for _, d := range example.Devices {
					if now[fmt.Sprintf(`pumpside_modbus_device_up{bus=%q,device=%q}`, example.Buses[d.Bus].ID, d.ID)] != 1 {
						return false
					}
				}
				for _, p := range example.Pumps {
					if now[fmt.Sprintf(`pumpside_running{pump=%q}`, p.ID)] != 1 || !(now[fmt.Sprintf(`pumpside_discharge_strokes_total{pump=%q}`, p.ID)] > 10) {
						return false
					}
				}
				return true
			})
		})
	}
}

// onSimulation puts simulated devices behind every address of a configuration
// and takes out what a test does not have.
func onSimulation(t *testing.T, text string, units map[byte]simulator.Unit) string {
	t.Helper()
	replace := func(pattern, to string) {
		text = regexp.MustCompile(pattern).ReplaceAllString(text, to)
	}
	if strings.Contains(text, "tcp: \"192.0.2.11:502\"") {
		replace(`192\.0\.2\.11:502`, onTCP(t, simulator.TCP, units))
	}
	if strings.Contains(text, "192.0.2.20:4001") {
		replace(`192\.0\.2\.20:4001`, onTCP(t, simulator.RTU, units))
	}
	if strings.Contains(text, "/dev/serial/by-id/usb-skid-line") {
		replace(`/dev/serial/by-id/usb-skid-line`, onPTY(t, units))
	}
	replace(`(?m)^mqtt: .*\n`, "")
	replace(`127\.0\.0\.1:9793`, "127.0.0.1:0")
	return text
}

// onTCP serves units on a free port until the test ends and gives its address.
func onTCP(t *testing.T, framing simulator.Framing, units map[byte]simulator.Unit) string {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	server := &simulator.Server{Units: units}
	ctx, stop := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- server.Serve(ctx, l, framing) }()
	t.Cleanup(func() {
		stop()
		<-done
	})
	return "127.0.0.1:" + strconv.Itoa(l.Addr().(*net.TCPAddr).Port)
}
