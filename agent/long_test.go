package main

import (
	"bytes"
	"context"
	"flag"
	"fmt"
	"io"
	"net"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"pumpside/simulator"
)

var long = flag.Bool("long", false, "also measure the agent as a whole process, for minutes")

// longSkids serves n skids on as many Modbus servers as their unit numbers
// need, and gives the configuration of a site of them, one bus a pump.
func longSkids(t *testing.T, n int, folder string) string {
	t.Helper()
	site := skidSite{ID: "long", Title: "Long Run", Metrics: "127.0.0.1:0", Store: filepath.Join(folder, "pumpside.db"), Save: "60 s", Log: "warn"}
	const most = 100 // skids a server
	for from := 0; from < n; from += most {
		var skids []*simulator.Skid
		for i := from; i < min(from+most, n); i++ {
			set := simulator.DefaultSettings(uint64(i))
			set.Running = true
			skid, err := simulator.NewSkid(set)
			if err != nil {
				t.Fatal(err)
			}
			skids = append(skids, skid)
		}
		listener, err := net.Listen("tcp", "127.0.0.1:0")
		if err != nil {
			t.Fatal(err)
		}
		server := &simulator.Server{Units: skidUnits(skids)}
		ctx, stop := context.WithCancel(context.Background())
		done := make(chan error, 1)
		go func() { done <- server.Serve(ctx, listener, simulator.TCP) }()
		t.Cleanup(func() {
			stop()
			if err := <-done; err != nil {
				t.Error(err)
			}
		})
		for i := range skids {
			site.Skids = append(site.Skids, skidPump{
				ID: fmt.Sprintf("gp-%d", from+i+1), Tag: fmt.Sprintf("GP-%d", from+i+1), Bus: "tcp: " + listener.Addr().String(), Drive: 2*i + 1, Module: 2*i + 2,
			})
		}
	}
	site.Metrics = freeAddress(t)
	var text bytes.Buffer
	if err := writeSkids(&text, site); err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(folder, "pumpside.yaml")
	if err := os.WriteFile(path, text.Bytes(), 0o644); err != nil {
		t.Fatal(err)
	}
	return path
}

func freeAddress(t *testing.T) string {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	return l.Addr().String()
}

// A process is what the kernel says of a running agent.
type process struct {
	cpu     time.Duration
	rss     int64 // bytes
	written int64 // bytes to the disk
}

func lookAt(t *testing.T, pid int) (p process) {
	t.Helper()
	read := func(name string) string {
		text, err := os.ReadFile(fmt.Sprintf("/proc/%d/%s", pid, name))
		if err != nil {
			t.Fatal(err)
		}
		return string(text)
	}
	stat := read("stat")
	fields := strings.Fields(stat[strings.LastIndexByte(stat, ')')+1:])
	ticks := func(i int) int64 { n, _ := strconv.ParseInt(fields[i], 10, 64); return n }
	p.cpu = time.Duration(ticks(11)+ticks(12)) * 10 * time.Millisecond // 100 ticks a second
	for line := range strings.Lines(read("status")) {
		if kb, ok := strings.CutPrefix(line, "VmRSS:"); ok {
			n, _ := strconv.ParseInt(strings.Fields(kb)[0], 10, 64)
			p.rss = n << 10
		}
	}
	for line := range strings.Lines(read("io")) {
		if n, ok := strings.CutPrefix(line, "write_bytes: "); ok {
			p.written, _ = strconv.ParseInt(strings.TrimSpace(n), 10, 64)
		}
	}
	return p
}

// TestLongStart measures how long it takes from the start of the process to the
// first good reading, with a state file that exists.
func TestLongStart(t *testing.T) {
	if !*long {
		t.Skip("measures whole processes: give -long")
	}
	folder := t.TempDir()
	binary, config := build(t, folder), longSkids(t, 2, folder)
	text, err := os.ReadFile(config)
	if err != nil {
		t.Fatal(err)
	}
	_, address, _ := strings.Cut(string(text), "metrics: {listen: \"")
	address, _, _ = strings.Cut(address, "\"")
	var best time.Duration
	for i := range 7 {
		began := time.Now()
		agent := exec.Command(binary, "run", "--config", config)
		if err := agent.Start(); err != nil {
			t.Fatal(err)
		}
		for !shows(address, "pumpside_motor_speed_revolutions_per_minute{") && time.Since(began) < 20*time.Second {
			time.Sleep(time.Millisecond)
		}
		took := time.Since(began)
		_ = agent.Process.Signal(os.Interrupt)
		_ = agent.Wait()
		if i > 0 && (best == 0 || took < best) { // the first makes the state file
			best = took
		}
	}
	t.Logf("first good reading on /metrics %v after the start of the process, best of 6", best.Round(100*time.Microsecond))
}

func shows(address, text string) bool {
	answer, err := http.Get("http://" + address + "/metrics")
	if err != nil {
		return false
	}
	defer answer.Body.Close()
	body, err := io.ReadAll(answer.Body)
	return err == nil && bytes.Contains(body, []byte(text))
}

func build(t *testing.T, folder string) string {
	t.Helper()
	binary := filepath.Join(folder, "pumpside")
	if out, err := exec.Command("go", "build", "-trimpath", "-ldflags", "-s -w", "-o", binary, ".").CombinedOutput(); err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	return binary
}

// TestLongFleet measures the agent process alone with simulated pumps, each
// over its own connection, polled every second.
func TestLongFleet(t *testing.T) {
	if !*long {
		t.Skip("measures for minutes: give -long")
	}
	for _, pumps := range []int{2, 500} {
		t.Run(fmt.Sprintf("%d pumps", pumps), func(t *testing.T) {
			folder := t.TempDir()
			agent := exec.Command(build(t, folder), "run", "--config", longSkids(t, pumps, folder))
			agent.Stderr = os.Stderr
			if err := agent.Start(); err != nil {
				t.Fatal(err)
			}
			t.Cleanup(func() { _ = agent.Process.Signal(os.Interrupt); _ = agent.Wait() })
			time.Sleep(30 * time.Second)
			before := lookAt(t, agent.Process.Pid)
			time.Sleep(60 * time.Second)
			after := lookAt(t, agent.Process.Pid)
			t.Logf("%d pumps: %.1f %% of one core, %.1f MB resident, %.1f kB written in 60 s",
				pumps, (after.cpu-before.cpu).Seconds()/60*100, float64(after.rss)/1e6, float64(after.written-before.written)/1e3)
		})
	}
}
