package main

import (
	"bytes"
	"cmp"
	"context"
	"errors"
	"io"
	"net"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"pumpside/simulator"
)

// patience is how long a condition may take on a machine that does much else.
const patience = 90 * time.Second

// eventually waits until something has happened.
func eventually(t *testing.T, what string, happened func() bool) {
	t.Helper()
	for end := time.Now().Add(patience); !happened(); time.Sleep(20 * time.Millisecond) {
		if time.Now().After(end) {
			t.Fatalf("waited %v in vain: %s", patience, what)
		}
	}
}

// need gives the path of a program that is no part of this project. Where it is
// missing the test is skipped, but not in CI.
func need(t *testing.T, program string) string {
	t.Helper()
	for _, name := range []string{program, filepath.Join("/usr/sbin", program)} {
		if path, err := exec.LookPath(name); err == nil {
			return path
		}
	}
	if os.Getenv("CI") == "true" {
		t.Fatalf("%s is not installed, and CI needs it", program)
	}
	t.Skipf("%s is not installed", program)
	return ""
}

// folder makes a folder that goes with the test. Its name is short, for the
// name of a socket is 107 bytes at most.
func folder(t *testing.T) string {
	t.Helper()
	path, err := os.MkdirTemp("", "pumpside-test-")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = os.RemoveAll(path) })
	return path
}

// An utterance is what a process has said so far.
type utterance struct {
	mu   sync.Mutex // guards text
	text bytes.Buffer
}

func (s *utterance) Write(p []byte) (int, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.text.Write(p)
}

func (s *utterance) String() string {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.text.String()
}

// A program is a running process. It ends with its test at the latest.
type program struct {
	*exec.Cmd
	said  utterance // on stdout and stderr
	ended chan struct{}
}

// start runs a program; the test's log shows what it said when the test fails,
// unless the test killed it before.
func start(t *testing.T, name string, args ...string) *program {
	t.Helper()
	return startIn(t, "", nil, name, args...)
}

// startIn runs a program in a folder with more environment.
func startIn(t *testing.T, folder string, environment []string, name string, args ...string) *program {
	t.Helper()
	p := &program{Cmd: exec.Command(name, args...), ended: make(chan struct{})}
	p.Dir, p.Env = folder, append(os.Environ(), environment...)
	p.Stdout, p.Stderr = &p.said, &p.said
	if err := p.Start(); err != nil {
		t.Fatal(err)
	}
	go func() { defer close(p.ended); _ = p.Wait() }()
	t.Cleanup(func() {
		killed := p.hasEnded() && p.ProcessState.ExitCode() < 0
		p.kill()
		if t.Failed() && !killed {
			t.Logf("%s %s said:\n%s", filepath.Base(name), strings.Join(args, " "), p.said.String())
		}
	})
	return p
}

// kill ends the process as a power cut would.
func (p *program) kill() {
	_ = p.Process.Kill()
	<-p.ended
}

// stop asks the process to stop and gives its exit code.
func (p *program) stop(t *testing.T, signal os.Signal) int {
	t.Helper()
	if err := p.Process.Signal(signal); err != nil {
		t.Fatal(err)
	}
	eventually(t, "the process ends", p.hasEnded)
	return p.ProcessState.ExitCode()
}

func (p *program) hasEnded() bool {
	select {
	case <-p.ended:
		return true
	default:
		return false
	}
}

// await waits until the process has said something and gives the newest match
// with its groups.
func (p *program) await(t *testing.T, pattern string) []string {
	t.Helper()
	find := regexp.MustCompile(pattern)
	var found []string
	eventually(t, "the process says "+pattern, func() bool {
		all := find.FindAllStringSubmatch(p.said.String(), -1)
		if len(all) > 0 {
			found = all[len(all)-1]
		} else if p.hasEnded() {
			t.Fatalf("the process ended and never said %s", pattern)
		}
		return len(all) > 0
	})
	return found
}

// ask runs the real binary to its end and gives what it printed on stdout.
func ask(t *testing.T, args ...string) string {
	t.Helper()
	c := exec.Command("pumpside", args...)
	var complaint bytes.Buffer
	c.Stderr = &complaint
	out, err := c.Output()
	if err != nil {
		t.Fatalf("pumpside %s: %v\n%s%s", strings.Join(args, " "), err, out, &complaint)
	}
	return string(out)
}

// startAgent runs the agent and waits until it serves metrics, whose address it
// gives.
func startAgent(t *testing.T, config string) (agent *program, metrics string) {
	t.Helper()
	agent = start(t, "pumpside", "run", "--config", config)
	return agent, agent.await(t, `"address":"([^"]+)"`)[1]
}

// A page is one scrape: a value by its series, as written.
type page map[string]float64

// scrape reads the metrics at an address; nil when it does not answer.
func scrape(t *testing.T, address string) page {
	t.Helper()
	p := page{}
	for line := range strings.Lines(get("http://" + address + "/metrics")) {
		series, number, _ := strings.Cut(strings.TrimSpace(line), "} ")
		if value, err := strconv.ParseFloat(number, 64); err == nil {
			p[series+"}"] = value
		}
	}
	return p
}

// get reads a page of the web, "" when there is none.
func get(url string) string {
	client := http.Client{Timeout: 10 * time.Second}
	response, err := client.Get(url)
	if err != nil {
		return ""
	}
	defer response.Body.Close()
	text, err := io.ReadAll(response.Body)
	if err != nil || response.StatusCode != http.StatusOK {
		return ""
	}
	return string(text)
}

// A plant is simulated skids on Modbus TCP in this process, so that what really
// happened to them is known.
type plant struct {
	skids   []*simulator.Skid
	began   time.Time
	address string
	reads   []*watched // of each skid's drive
}

// newPlant starts skids that run until the test ends.
func newPlant(t *testing.T, settings ...simulator.Settings) *plant {
	t.Helper()
	p := &plant{began: time.Now()}
	for _, set := range settings {
		skid, err := simulator.NewSkid(set)
		if err != nil {
			t.Fatal(err)
		}
		p.skids = append(p.skids, skid)
	}
	units := skidUnits(p.skids)
	for i := range p.skids {
		drive := &watched{Unit: units[byte(2*i+1)], skid: p.skids[i]}
		units[byte(2*i+1)] = drive
		p.reads = append(p.reads, drive)
	}
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	p.address = l.Addr().String()
	server := &simulator.Server{Units: units, Now: p.now}
	ctx, stop := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- server.Serve(ctx, l, simulator.TCP) }()
	t.Cleanup(func() {
		stop()
		if err := <-done; err != nil {
			t.Error(err)
		}
	})
	return p
}

// running is a skid at rated speed, standing one at rest.
func running(seed uint64) simulator.Settings {
	s := standing(seed)
	s.Running = true
	return s
}

func standing(seed uint64) simulator.Settings { return simulator.DefaultSettings(seed) }

// now is the time of the skids.
func (p *plant) now() time.Duration { return time.Since(p.began) }

// happen lets something happen to a skid at once.
func (p *plant) happen(t *testing.T, skid int, e simulator.Event) {
	t.Helper()
	e.At = p.now()
	if err := p.skids[skid].Schedule(e); err != nil {
		t.Fatal(err)
	}
}

// configure writes a configuration for the plant into a folder of its own and
// gives its path. Edits are pairs of an old and a new text; each must be found.
func (p *plant) configure(t *testing.T, site skidSite, edits ...string) string {
	t.Helper()
	path := filepath.Join(folder(t), "pumpside.yaml")
	site.ID, site.Title = "test-site", "Test Site"
	site.Metrics, site.Store, site.Log = "127.0.0.1:0", filepath.Join(filepath.Dir(path), "pumpside.db"), "info"
	if site.Save == "" {
		site.Save = "60 s"
	}
	for i := range p.skids {
		n := strconv.Itoa(i + 1)
		site.Skids = append(site.Skids, skidPump{ID: "gp-" + n, Tag: "GP-" + n, Bus: "tcp: " + p.address, Drive: 2*i + 1, Module: 2*i + 2})
	}
	var text bytes.Buffer
	if err := writeSkids(&text, site); err != nil {
		t.Fatal(err)
	}
	writeFile(t, path, edited(t, text.String(), edits...))
	return path
}

// edited replaces pairs of texts.
func edited(t *testing.T, text string, edits ...string) string {
	t.Helper()
	for i := 0; i < len(edits); i += 2 {
		if !strings.Contains(text, edits[i]) {
			t.Fatalf("%q is not in:\n%s", edits[i], text)
		}
		text = strings.ReplaceAll(text, edits[i], edits[i+1])
	}
	return text
}

func readFile(t *testing.T, path string) string {
	t.Helper()
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}

func writeFile(t *testing.T, path, text string) {
	t.Helper()
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
}

// A watched unit remembers when it was read, and what had really happened to
// its skid by then.
type watched struct {
	simulator.Unit
	skid *simulator.Skid

	mu    sync.Mutex // guards reads
	reads []simulator.Truth
}

// Read implements simulator.Unit.
func (w *watched) Read(at time.Duration, table simulator.Table, first uint16, dst []uint16) bool {
	truth := w.skid.TruthAt(at)
	w.mu.Lock()
	w.reads = append(w.reads, truth)
	w.mu.Unlock()
	return w.Unit.Read(at, table, first, dst)
}

// awaitRead waits for the first read later than after, by that agent.
func (w *watched) awaitRead(t *testing.T, agent *program, after time.Duration) (read simulator.Truth) {
	t.Helper()
	eventually(t, "the drive is read", func() bool {
		if agent.hasEnded() {
			t.Fatal("the agent has ended")
		}
		w.mu.Lock()
		defer w.mu.Unlock()
		for _, read = range w.reads {
			if read.At > after {
				return true
			}
		}
		return false
	})
	return read
}

// nearest gives the truth at the read nearest to a time.
func (w *watched) nearest(at time.Duration) simulator.Truth {
	w.mu.Lock()
	defer w.mu.Unlock()
	return slices.MinFunc(w.reads, func(a, b simulator.Truth) int { return cmp.Compare((a.At - at).Abs(), (b.At - at).Abs()) })
}

// listening reports whether something accepts connections at an address.
func listening(address string) bool {
	conn, err := net.DialTimeout("tcp", address, time.Second)
	if err != nil {
		return false
	}
	_ = conn.Close()
	return true
}

// exitCode is that of a finished command.
func exitCode(err error) int {
	if e, ok := errors.AsType[*exec.ExitError](err); ok {
		return e.ExitCode()
	}
	if err != nil {
		return -1
	}
	return 0
}

// stopSignal asks a process to stop cleanly.
const stopSignal = syscall.SIGTERM
