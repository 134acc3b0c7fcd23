package main

import (
	"encoding/json"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"pumpside/simulator"
)

// nextVersion builds the program as its next version would be: with one more
// step of the schema, which nothing else of it knows.
func nextVersion(t *testing.T) string {
	t.Helper()
	work := t.TempDir()
	source, err := filepath.Abs("store/schema.go")
	if err != nil {
		t.Fatal(err)
	}
	const end = "\n\t`},\n}\n"
	next := edited(t, readFile(t, source), end, "\n\t`},\n\t{2, `CREATE TABLE next (n INTEGER PRIMARY KEY)`},\n}\n")
	replaced := filepath.Join(work, "schema.go")
	writeFile(t, replaced, next)
	overlay, err := json.Marshal(map[string]map[string]string{"Replace": {source: replaced}})
	if err != nil {
		t.Fatal(err)
	}
	writeFile(t, filepath.Join(work, "overlay.json"), string(overlay))
	program := filepath.Join(work, "pumpside-next")
	build := exec.Command("go", "build", "-overlay", filepath.Join(work, "overlay.json"), "-o", program, ".")
	if out, err := build.CombinedOutput(); err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	return program
}

// What an agent of this version has counted and been told, one of the next
// version goes on with; the old file lies beside it, and the way back is there.
func TestAnUpgradeTakesTheStateToTheNextSchemaAndKeepsTheOldFile(t *testing.T) {
	if testing.Short() {
		t.Skip("builds the program once more")
	}
	t.Parallel()
	next := nextVersion(t)
	plant := newPlant(t, running(1))
	config := plant.configure(t, skidSite{Save: "1 s"})
	state := filepath.Join(filepath.Dir(config), "pumpside.db")
	run := func(metrics string) float64 { return scrape(t, metrics)[`pumpside_run_seconds_total{pump="gp-1"}`] }

	old, metrics := startAgent(t, config)
	eventually(t, "run time is counted", func() bool { return run(metrics) > 3 })
	plant.happen(t, 0, simulator.Event{Do: simulator.DriveTrip, Size: 7})
	eventually(t, "an alarm is raised", func() bool {
		return strings.Contains(ask(t, "alarms", "list", "--config", config), "gp-1/drive_fault")
	})
	ask(t, "service", "record", "gp-1", "valves", "--comment", "before the upgrade", "--config", config)
	before := run(metrics)
	if code := old.stop(t, stopSignal); code != 0 {
		t.Fatalf("exit code %d", code)
	}

	newer := start(t, next, "run", "--config", config)
	newer.await(t, `"from":1,"copy":"`+state+`.schema-1".*the state file was brought to the newest schema`)
	metrics = newer.await(t, `"address":"([^"]+)"`)[1]
	eventually(t, "it counts on", func() bool { return run(metrics) >= before })
	if list := ask(t, "alarms", "list", "--config", config); !strings.Contains(list, "gp-1/drive_fault") {
		t.Errorf("the alarm is gone:\n%s", list)
	}
	if ledger := ask(t, "service", "list", "--config", config); !strings.Contains(ledger, "before the upgrade") {
		t.Errorf("the record is gone:\n%s", ledger)
	}
	if code := newer.stop(t, stopSignal); code != 0 {
		t.Errorf("exit code %d", code)
	}

	refused := start(t, "pumpside", "run", "--config", config)
	refused.await(t, `has schema 2, this program knows up to 1: use the newer program, or restore the copy it kept beside the file`)
	ask(t, "restore", state+".schema-1", "--config", config)
	_, metrics = startAgent(t, config)
	eventually(t, "the version before goes on from its own file", func() bool { return run(metrics) >= before })
}
