package main

import (
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"pumpside/simulator"
)

// notRun are the beginnings of commands in the documents that need a machine
// of their own; the packages' test has the unit.
var notRun = []string{"sudo systemctl ", "systemctl ", "journalctl "}

// TestEveryCommandOfTheDocumentsRuns runs them in their order, each document
// beside a running agent and simulated devices in place of the examples'.
func TestEveryCommandOfTheDocumentsRuns(t *testing.T) {
	for _, name := range []string{"installer", "control-room", "on-call", "diagnosis"} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			commands := commandsOf(readFile(t, "../configs/docs/"+name+".md"))
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
			folder, others := t.TempDir(), skidUnits(skids(t, 1))
			stand := strings.NewReplacer(
				"192.0.2.11:502", onTCP(t, simulator.TCP, others), "/dev/serial/by-id/usb-skid-line", onPTY(t, others), "/etc/pumpside/pumpside.yaml", config,
			)
			for _, line := range commands {
				runDocumented(t, folder, config, stand.Replace(line))
			}
		})
	}
}

// commandsOf gives the commands of a document: its indented lines that begin
// with a program's name.
func commandsOf(text string) (list []string) {
	for line := range strings.Lines(text) {
		command, indented := strings.CutPrefix(strings.TrimRight(line, "\n"), "    ")
		if first, _, _ := strings.Cut(command, " "); indented && (first == "pumpside" || first == "sudo" || first == "systemctl" || first == "journalctl") {
			list = append(list, command)
		}
	}
	return list
}

// runDocumented runs one line. A line that is meant to fail says so in its
// comment. Commands about the running agent mean its configuration.
func runDocumented(t *testing.T, folder, config, line string) {
	t.Helper()
	for _, beginning := range notRun {
		if strings.HasPrefix(line, beginning) {
			return
		}
	}
	command, comment, _ := strings.Cut(line, " # ")
	for _, about := range []string{"alarms", "service", "backup", "report"} {
		if strings.HasPrefix(command, "pumpside "+about+" ") {
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
	for _, pattern := range []string{"../configs/docs/*.md", "../configs/control-room/*.md"} {
		paths, err := filepath.Glob(pattern)
		if err != nil || len(paths) == 0 {
			t.Fatal(pattern, err)
		}
		for _, path := range paths {
			for _, part := range strings.Split(readFile(t, path), "](")[1:] {
				target, _, _ := strings.Cut(part, ")")
				if _, err := os.Stat(filepath.Join(filepath.Dir(path), target)); err != nil {
					t.Errorf("%s links to %s: %v", path, target, err)
				}
			}
		}
	}
}
