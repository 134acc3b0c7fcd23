package main

import (
	"math"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

// TestPracticeLeadsToARunningAgent walks the page for practising as a person
// does, command by command, and writes what its blocks say into the draft; only
// the TCP ports are the test's own. At the end the agent must see the simulated
// skid as it is.
func TestPracticeLeadsToARunningAgent(t *testing.T) {
	if testing.Short() {
		t.Skip("searches a serial line for some seconds")
	}
	t.Parallel()
	page := readFile(t, "../configs/docs/practice.md")
	work := folder(t)
	walk := practice{folder: work, config: filepath.Join(work, "draft.yaml")}
	for _, part := range regexp.MustCompile("(?m)^(    pumpside .*|```yaml\n(?:.*\n)*?```)$").FindAllString(page, -1) {
		command, isCommand := strings.CutPrefix(part, "    ")
		switch {
		case !isCommand:
			walk.fill(t, strings.Split(part, "\n"))
		case strings.HasPrefix(command, "pumpside simulate "):
			walk.simulate(t, command)
		case strings.HasPrefix(command, "pumpside run "):
			walk.run(t)
		default:
			runDocumented(t, work, walk.config, strings.ReplaceAll(command, "/dev/pts/7", walk.line))
		}
	}
	if walk.metrics == "" {
		t.Fatal("the page never ran the agent")
	}
	eventually(t, "the agent sees the skid as it is", func() bool {
		now := scrape(t, walk.metrics)
		near := func(family string, want, within float64) bool {
			return math.Abs(now[family+`{pump="gp-1"}`]-want) < within
		}
		return near("pumpside_running", 1, 0.5) && near("pumpside_motor_speed_revolutions_per_minute", 1450, 40) &&
			near("pumpside_discharge_pressure_pascals", 70e5, 8e5) && near("pumpside_suction_pressure_pascals", 0.3e5, 0.3e5) &&
			near("pumpside_glycol_flow_cubic_meters_per_second", 22.0/60e3, 2.0/60e3) && near("pumpside_glycol_temperature_celsius", 80, 2) &&
			near("pumpside_run_demand", 1, 0.5) && now[`pumpside_discharge_strokes_total{pump="gp-1"}`] > 10
	})
}

// A practice is how far the page has been walked.
type practice struct {
	folder, config string
	line           string // of the simulated skid
	metrics        string // address
}

func (p *practice) simulate(t *testing.T, command string) {
	simulated := start(t, "pumpside", strings.Fields(command)[1:]...)
	p.line = simulated.await(t, `RTU on (\S+) at`)[1]
}

// fill puts lines into the draft: keys in the place of the same key behind a #,
// points and roles under those that are there, damping beside read: fast, and
// sections of the file at its end.
func (p *practice) fill(t *testing.T, lines []string) {
	t.Helper()
	text := readFile(t, p.config)
	for _, line := range lines[1 : len(lines)-1] {
		key, _, _ := strings.Cut(strings.TrimSpace(line), ":")
		commented := regexp.MustCompile(`(?m)^    # ` + regexp.QuoteMeta(key) + `:.*(\n    #   - .*)?$`)
		before := text
		switch {
		case key == "damping":
			text = strings.Replace(text, "read: fast", "read: fast, "+strings.TrimSpace(line), 1)
		case strings.HasPrefix(key, "- {name"):
			text = strings.Replace(text, "    points:\n", "    points:\n"+line+"\n", 1)
		case !strings.HasPrefix(line, " "):
			text += ownPort.ReplaceAllLiteralString(line, `"127.0.0.1:0"`) + "\n"
		case strings.HasPrefix(line, "      "):
			text = strings.Replace(text, "    signals:\n", "    signals:\n"+line+"\n", 1)
		default:
			text = commented.ReplaceAllLiteralString(text, line)
		}
		if text == before {
			t.Fatalf("the draft has no place for %q:\n%s", line, text)
		}
	}
	writeFile(t, p.config, text)
}

// ownPort finds the listeners of the page, which tests that run beside this one
// may have taken.
var ownPort = regexp.MustCompile(`"127\.0\.0\.1:\d+"`)

// run starts the agent as the page does, but for the form of its log.
func (p *practice) run(t *testing.T) {
	if out, err := exec.Command("pumpside", "check", "--config", p.config).CombinedOutput(); err != nil || strings.Contains(string(out), "notes:") {
		t.Fatalf("check after filling in: %v\n%s", err, out)
	}
	agent := start(t, "pumpside", "run", "--config", p.config)
	p.metrics = agent.await(t, `"address":"([^"]+)"[^\n]*"message":"metrics"`)[1]
}
