package main

import (
	"context"
	"net"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"pumpside/simulator"
)

// onPTY serves units on a pseudo-terminal until the test ends and gives its
// path.
func onPTY(t *testing.T, units map[byte]simulator.Unit) string {
	t.Helper()
	pty, err := simulator.OpenPty()
	if err != nil {
		t.Fatal(err)
	}
	server := &simulator.Server{Units: units}
	ctx, stop := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- server.ServeRTU(ctx, pty) }()
	t.Cleanup(func() {
		stop()
		<-done
	})
	return pty.Path
}

func skids(t *testing.T, n int) []*simulator.Skid {
	t.Helper()
	var list []*simulator.Skid
	for i := range n {
		skid, err := simulator.NewSkid(running(uint64(i + 1)))
		if err != nil {
			t.Fatal(err)
		}
		list = append(list, skid)
	}
	return list
}

// probed runs probe and gives its exit code and what it printed.
func probed(t *testing.T, args ...string) (code int, said string) {
	t.Helper()
	p := start(t, "pumpside", append([]string{"probe"}, args...)...)
	<-p.ended
	return p.ProcessState.ExitCode(), p.said.String()
}

func wantLine(t *testing.T, said string, patterns ...string) {
	t.Helper()
	for _, pattern := range patterns {
		if !regexp.MustCompile("(?m)" + pattern).MatchString(said) {
			t.Errorf("nothing matches %s in:\n%s", pattern, said)
		}
	}
}

// A technician with a manual that counts from 0 and a display at 1450 rpm.
func TestProbeFindsDevicesOnASerialLineAndWhatIsOff(t *testing.T) {
	t.Parallel()
	path := onPTY(t, skidUnits(skids(t, 1)))
	draft := filepath.Join(t.TempDir(), "draft.yaml")
	code, said := probed(t, "--rtu", path, "--baud", "19200", "--parity", "even", "--units", "1-3", "--timeout", "200ms", "--every", "50ms", "--rounds", "2",
		"--expect", "speed@40003≈1450 rpm", "--expect", "discharge@30017≈70 bar ±5 %", "--write-config", draft)
	if code != exitDone {
		t.Errorf("exit code %d", code)
	}
	wantLine(t, said,
		`^`+path+`, 19200 8E1: 2 device\(s\) answered`,
		`^unit 1 answered in \d+ ms; it says of itself: \["pumpside simulator" "drive" "1.0"\]`,
		`^speed≈1450 rpm is unit 1 holding 3 int16  ×1 rpm`,
		`^  it stands one address after the manual's: .* use doc_base: 0`,
		`^discharge≈70 bar is unit 2 input 16 float32 CDAB ×1 kPa`,
		`^  its words are swapped`,
		`^  the register is in kPa, your display in bar`,
	)
	checked := start(t, "pumpside", "check", "--config", draft)
	<-checked.ended
	wantLine(t, checked.said.String(), `pumps\[0\].mechanism: missing; say how the plungers are moved`, `pumps\[0\].bore: missing; plunger diameter`)
	for line := range strings.Lines(checked.said.String()) {
		if strings.Contains(line, draft+":") && !strings.Contains(line, "missing;") {
			t.Errorf("the draft has a mistake of its own: %s", line)
		}
	}

	before := readFile(t, draft)
	if code, _ := probed(t, "--rtu", path, "--baud", "19200", "--parity", "even", "--write-config", draft); code != exitUnwell {
		t.Errorf("writing over the draft: exit code %d, want %d", code, exitUnwell)
	}
	if readFile(t, draft) != before {
		t.Error("the draft was written over")
	}
}

func TestProbeWatchesValuesWithTheirRate(t *testing.T) {
	t.Parallel()
	plant := newPlant(t, running(1))
	code, said := probed(t, "--tcp", plant.address, "--read", "holding 0-7", "--expect", "speed≈1450 rpm ±5 %", "--rounds", "1", "--every", "50ms", "--watch", "--for", "600ms")
	if code != exitDone {
		t.Errorf("exit code %d", code)
	}
	wantLine(t, said, `unit 1  speed 14\d\d rpm`, `^unit 1: 12 read\(s\), 0 failed; \d+\.\d\d rounds a second, jitter .*; slowest answer `)
}

// A slow unit answers every request late by the same time.
type slow struct {
	simulator.Unit
	by time.Duration
}

func (s slow) Manner(time.Duration) simulator.Manner { return simulator.Manner{Late: s.by} }

// The timeout it asks for is at least what was measured.
func TestProbeSaysWhatTimeoutALateDeviceNeeds(t *testing.T) {
	t.Parallel()
	units := skidUnits(skids(t, 1))
	units[1] = slow{units[1], 160 * time.Millisecond}
	path := onPTY(t, units)
	_, said := probed(t, "--rtu", path, "--baud", "19200", "--parity", "even", "--timeout", "190ms", "--read", "holding 0-3", "--rounds", "2", "--every", "10ms")
	wantLine(t, said, `> (The slowest answer took|\d+ answer\(s\) came after they were given up).*raise the timeout to at least \d{3}ms`)
}

func TestProbeSaysWhatSilenceMeans(t *testing.T) {
	t.Parallel()
	path := onPTY(t, skidUnits(skids(t, 1)))
	code, said := probed(t, "--rtu", path, "--units", "9", "--baud", "9600", "--parity", "odd", "--timeout", "100ms")
	if code != exitUnwell {
		t.Errorf("exit code %d, want %d", code, exitUnwell)
	}
	wantLine(t, said, `nothing answered; 1 combination`, `> Nothing answers at all: wrong unit number, wrong baud rate or parity, A and B swapped`)

	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	nobody := l.Addr().String()
	_ = l.Close()
	code, said = probed(t, "--tcp", nobody)
	if code != exitUnwell {
		t.Errorf("exit code %d, want %d", code, exitUnwell)
	}
	wantLine(t, said, `> No connection: wrong address or port`)
}

// TestPortsHaveStableNamesAndUsers looks at a file system made for it.
func TestPortsHaveStableNamesAndUsers(t *testing.T) {
	root := t.TempDir()
	put := func(path, text string) {
		path = filepath.Join(root, path)
		if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
			t.Fatal(err)
		}
		writeFile(t, path, text)
	}
	link := func(to, path string) {
		if err := os.MkdirAll(filepath.Dir(filepath.Join(root, path)), 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.Symlink(filepath.Join(root, to), filepath.Join(root, path)); err != nil {
			t.Fatal(err)
		}
	}
	put("dev/ttyUSB0", "")
	put("dev/ttyUSB1", "")
	put("dev/ttyS0", "")
	put("dev/ttyS1", "")
	put("sys/class/tty/ttyS0/type", "4\n")
	put("sys/class/tty/ttyS1/type", "0\n") // no hardware behind it
	link("dev/ttyUSB0", "dev/serial/by-id/usb-skid-line")
	link("dev/ttyUSB0", "proc/77/fd/3")
	put("proc/77/comm", "pumpside\n")
	device := func(name string) string { return filepath.Join(root, "dev", name) }
	want := []serialPort{
		{Path: filepath.Join(root, "dev/serial/by-id/usb-skid-line"), Device: device("ttyUSB0"), UsedBy: "pumpside (process 77)", Stable: true},
		{Path: device("ttyUSB1"), Device: device("ttyUSB1")},
		{Path: device("ttyS0"), Device: device("ttyS0")},
	}
	if diff := cmp.Diff(want, ports(root)); diff != "" {
		t.Error(diff)
	}
}

func TestProgressIsShownOnATerminalAfterTwoSeconds(t *testing.T) {
	var out strings.Builder
	p := progress{out: &out, terminal: true, began: time.Now().Add(-4 * time.Second)}
	p.at(1, 4, "9600 8E1, unit 7")
	if got := out.String(); !strings.Contains(got, "1 of 4, 12s left: 9600 8E1, unit 7") {
		t.Errorf("progress %q", got)
	}
	out.Reset()
	p.began = time.Now()
	p.at(1, 4, "too soon")
	p.terminal, p.began = false, time.Now().Add(-time.Minute)
	p.at(1, 4, "no terminal")
	if out.String() != "" {
		t.Errorf("progress %q, want none", out.String())
	}
}
