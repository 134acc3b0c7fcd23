package main

import (
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"pumpside/configs"
	"pumpside/simulator"
)

// elsewhere are the beginnings of commands in the documents that something else
// runs: they need a machine, a terminal or a build of their own.
var elsewhere = []struct{ beginning, by string }{
	{"sudo systemctl ", ".ci/unit, below a systemd of its own"},
	{"systemctl ", ".ci/unit, below a systemd of its own"},
	{"journalctl ", ".ci/unit, below a systemd of its own"},
	{"CGO_ENABLED=0 go build ", "the stage builds of .ci/run"},
	{"go test ", "the stage test of .ci/run"},
	{"go run ./agent demo", "TestDemoTellsItsStoryOnOtherPortsAndStopsOnCtrlC"},
	{"go run ./configs/control-room/consumer ", "TestExamplesAreWhatTheDemoPublishes"},
	{"pumpside service record  ", "the test of the sheet: it asks at a terminal"},
	{"pumpside run ", "every test that starts an agent"},
	{"pumpside simulate ", "the script simulate"},
}

// documents are all that show commands, and the folder they are run in; "" is a
// new one.
var documents = []struct{ path, folder string }{
	{"../README.md", ""},
	{"../configs/docs/installer.md", ""},
	{"../configs/docs/control-room.md", ""},
	{"../configs/docs/on-call.md", ""},
	{"../configs/docs/diagnosis.md", ""},
	{"../configs/docs/service.md", ""},
	{"../configs/control-room/README.md", "../configs/control-room"},
}

// TestEveryDocumentIsRun finds documents that nobody has put on the list; the
// page for practising has a test of its own.
func TestEveryDocumentIsRun(t *testing.T) {
	listed := map[string]bool{"../configs/docs/practice.md": true}
	for _, d := range documents {
		listed[d.path] = true
	}
	for _, pattern := range []string{"../*.md", "../configs/*/*.md"} {
		paths, err := filepath.Glob(pattern)
		if err != nil {
			t.Fatal(err)
		}
		for _, path := range paths {
			if !listed[path] && len(commandsOf(readFile(t, path))) > 0 && filepath.Base(path) != "DEVELOPERS.md" { // whose commands are CI's own
				t.Errorf("no test runs the commands of %s", path)
			}
		}
	}
}

// TestEveryCommandOfTheDocumentsRuns runs them in their order, each document
// beside a running agent and simulated devices in place of the examples'.
func TestEveryCommandOfTheDocumentsRuns(t *testing.T) {
	for _, d := range documents {
		t.Run(strings.TrimSuffix(filepath.Base(d.path), ".md")+" of "+filepath.Base(filepath.Dir(d.path)), func(t *testing.T) {
			t.Parallel()
			commands := commandsOf(readFile(t, d.path))
			if len(commands) == 0 {
				return
			}
			plant := newPlant(t, running(1))
			config := plant.configure(t, skidSite{})
			startAgent(t, config)
			plant.happen(t, 0, simulator.Event{Do: simulator.DriveTrip, Size: 7})
			eventually(t, "the drive's fault is told", func() bool {
				return strings.Contains(ask(t, "alarms", "list", "--config", config), "gp-1/drive_fault")
			})
			work, others := d.folder, skidUnits(skids(t, 1))
			if work == "" {
				work = t.TempDir()
			}
			stand := strings.NewReplacer(
				"192.0.2.11:502", onTCP(t, simulator.TCP, others), "/dev/serial/by-id/usb-skid-line", onPTY(t, others),
				"/etc/pumpside/pumpside.yaml", config, "--config pumpside.yaml", "--config "+config, "/var/backups/", filepath.Dir(config)+"/copy-of-",
				"gp-1/no_flow", "gp-1/drive_fault",
			)
			for _, line := range commands {
				runDocumented(t, work, config, stand.Replace(line))
			}
		})
	}
}

// programs are those whose lines are commands.
var programs = []string{"pumpside", "sudo", "systemctl", "journalctl", "promtool", "amtool", "go", "CGO_ENABLED=0"}

// commandsOf gives the commands of a document: its indented lines that begin
// with a program's name.
func commandsOf(text string) (list []string) {
	for line := range strings.Lines(text) {
		command, indented := strings.CutPrefix(strings.TrimRight(line, "\n"), "    ")
		if first, _, _ := strings.Cut(command, " "); indented && slices.Contains(programs, first) {
			list = append(list, command)
		}
	}
	return list
}

// runDocumented runs one line. A line that is meant to fail says so in its
// comment. Commands about the running agent mean its configuration.
func runDocumented(t *testing.T, folder, config, line string) {
	t.Helper()
	for _, other := range elsewhere {
		if strings.HasPrefix(line, other.beginning) {
			return
		}
	}
	command, comment, _ := strings.Cut(line, " # ")
	command = strings.TrimSpace(command)
	if program, _, _ := strings.Cut(command, " "); program != "pumpside" {
		command = need(t, program) + strings.TrimPrefix(command, program)
	}
	for _, about := range []string{"alarms", "service", "backup", "report", "captures", "record"} {
		if strings.HasPrefix(command+" ", "pumpside "+about+" ") && !strings.Contains(command, "--config") {
			command += " --config " + config
		}
	}
	want := exitDone
	if strings.HasPrefix(comment, "exit 1") {
		want = exitUnwell
	}
	c := exec.Command("sh", "-c", command)
	c.Dir, c.Env = folder, append(os.Environ(), "NO_COLOR=1")
	if out, err := c.CombinedOutput(); exitCode(err) != want {
		t.Errorf("%s: exit code %d, want %d\n%s", command, exitCode(err), want, out)
	}
}

// TestDocumentsLinkToFilesThatAreThere follows the links between documents.
func TestDocumentsLinkToFilesThatAreThere(t *testing.T) {
	for _, pattern := range []string{"../*.md", "../configs/docs/*.md", "../configs/control-room/*.md"} {
		paths, err := filepath.Glob(pattern)
		if err != nil || len(paths) == 0 {
			t.Fatal(pattern, err)
		}
		for _, path := range paths {
			for _, part := range strings.Split(readFile(t, path), "](")[1:] {
				target, _, _ := strings.Cut(part, ")")
				target, _, _ = strings.Cut(target, "#")
				if _, err := os.Stat(filepath.Join(filepath.Dir(path), target)); err != nil {
					t.Errorf("%s links to %s: %v", path, target, err)
				}
			}
		}
	}
}

// TestTheReadmesConfigurationIsGood checks the annotated one.
func TestTheReadmesConfigurationIsGood(t *testing.T) {
	_, block, _ := strings.Cut(readFile(t, "../README.md"), "```yaml\n")
	block, _, _ = strings.Cut(block, "```")
	config, err := configs.Load("README.md", []byte(block))
	if err != nil {
		t.Fatal(err)
	}
	if len(config.Notes) > 0 {
		t.Errorf("notes: %v", config.Notes)
	}
}
